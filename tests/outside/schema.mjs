// Holds the shipped rule sets and every case against the published JSON Schemas (npm: ajv, smol-toml), and
// sees that mistakes an editor should mark are marked.
//
// usage: node schema.mjs SCHEMA-DIRECTORY RULE-SET.TOML... -- CASE.TOML...
import { readFileSync } from "node:fs";
import { join } from "node:path";
import Ajv from "ajv";
import { parse } from "smol-toml";

const [schemas, ...files] = process.argv.slice(2);
const middle = files.indexOf("--");
if (middle < 1) {
  console.error("usage: node schema.mjs SCHEMA-DIRECTORY RULE-SET.TOML... -- CASE.TOML...");
  process.exit(2);
}
const rulesets = files.slice(0, middle);
const cases = files.slice(middle + 1);
const ajv = new Ajv({ allErrors: true, strict: true, allowUnionTypes: true, strictRequired: false });
const compiled = (name) => ajv.compile(JSON.parse(readFileSync(join(schemas, `${name}.schema.json`), "utf8")));
const [ruleset, aCase] = [compiled("ruleset"), compiled("case")];
const breaches = [];

for (const [validate, list] of [[ruleset, rulesets], [aCase, cases]]) {
  for (const file of list) {
    if (!validate(parse(readFileSync(file, "utf8")))) {
      for (const { instancePath, message } of validate.errors) breaches.push(`${file}${instancePath}: ${message}`);
    }
  }
}

// Each of these breaks one thing in a sound text.
const mistakes = [
  [ruleset, rulesets[0], (set) => { set.check[1].pont = set.check[1].point; }],
  [ruleset, rulesets[0], (set) => { delete set.suspect[0].share; }],
  [ruleset, rulesets[0], (set) => { set.suspect[0].side = "suply"; }],
  [ruleset, rulesets[0], (set) => { set.check[0].expect.otherwise = [1.2, -0.2]; }],
  [ruleset, rulesets[0], (set) => { delete set.proof[0].side; }],
  [aCase, cases[0], (one) => { one.event[0].valeu = "1 V"; }],
  [aCase, cases[0], (one) => { one.event[0] = { at: "0 s" }; }],
  [aCase, cases[0], (one) => { one.expect.standing = "sure"; }],
  [aCase, cases[0], (one) => { delete one.source; }],
];
for (const [place, [validate, file, breaks]] of mistakes.entries()) {
  const text = parse(readFileSync(file, "utf8"));
  breaks(text);
  if (validate(text)) breaches.push(`mistake ${place + 1} in ${file} is not marked`);
}
if (breaches.length > 0) {
  console.error(breaches.slice(0, 20).join("\n"));
  console.error(`${breaches.length} breaches`);
  process.exit(1);
}
console.log(`${rulesets.length} rule sets and ${cases.length} cases conform to their schemas; ${mistakes.length} mistakes are marked`);
