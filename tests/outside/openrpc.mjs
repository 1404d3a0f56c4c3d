// Holds the committed OpenRPC document against the OpenRPC meta-schema (npm: @open-rpc/meta-schema), and
// every frozen example against the schemas the document gives for its method (npm: ajv).
//
// usage: node openrpc.mjs OPENRPC.JSON EXAMPLES-DIRECTORY
import { readFileSync, readdirSync } from "node:fs";
import { join } from "node:path";
import Ajv from "ajv";
import addFormats from "ajv-formats";
import openrpc from "@open-rpc/meta-schema";
import jsonSchema from "@json-schema-tools/meta-schema";

const [documentPath, examplesPath] = process.argv.slice(2);
if (!examplesPath) {
  console.error("usage: node openrpc.mjs OPENRPC.JSON EXAMPLES-DIRECTORY");
  process.exit(2);
}
const read = (path) => JSON.parse(readFileSync(path, "utf8"));
const document = read(documentPath);
const breaches = [];

function hold(validate, value, what) {
  if (!validate(value)) {
    for (const { instancePath, message } of validate.errors) {
      breaches.push(`${what}${instancePath}: ${message}`);
    }
  }
}

// Both meta-schemas name themselves as their own dialect, which is draft-07.
const draft7 = (schema) => ({ ...schema, $schema: undefined });
const meta = new Ajv({ strict: false, allErrors: true });
addFormats(meta);
meta.addSchema(draft7(jsonSchema.default ?? jsonSchema), "https://meta.json-schema.tools");
hold(meta.compile(draft7(openrpc.default ?? openrpc)), document, "openrpc.json");

// The document's own schemas, so that `#/components/...` resolves.
const own = new Ajv({ strict: false, allErrors: true });
addFormats(own);
own.addFormat("double", true);
for (const bits of ["int32", "int64", "uint", "uint8", "uint16", "uint32", "uint64"]) own.addFormat(bits, true);
own.addSchema({ $id: "openrpc", ...document });
const rebased = (schema) =>
  JSON.parse(JSON.stringify(schema).replaceAll('"$ref":"#/', '"$ref":"openrpc#/'));

function parameters(method) {
  const properties = Object.fromEntries(method.params.map((p) => [p.name, p.schema]));
  const required = method.params.filter((p) => p.required).map((p) => p.name);
  return own.compile(rebased({ type: "object", properties, required, additionalProperties: false }));
}

const held = new Set();
for (const file of readdirSync(examplesPath).sort()) {
  const name = file.split(".").slice(0, 2).join(".");
  const method = document.methods.find((m) => m.name === name);
  if (!method) continue;
  const example = read(join(examplesPath, file));
  hold(parameters(method), example.params ?? {}, `${file} params`);
  if (example.result !== undefined) {
    hold(own.compile(rebased(method.result.schema)), example.result, `${file} result`);
  }
  for (const item of example.items ?? []) {
    hold(own.compile(rebased(method["x-subscription"].item)), item, `${file} item`);
  }
  held.add(name);
}

// The end of a subscription takes its id and answers a truth value: it needs no example.
const ends = new Set(document.methods.flatMap((m) => m["x-subscription"]?.unsubscribe ?? []));
for (const { name } of document.methods) {
  if (!held.has(name) && !ends.has(name)) breaches.push(`${name} has no example in ${examplesPath}`);
}
if (breaches.length > 0) {
  console.error(breaches.slice(0, 20).join("\n"));
  console.error(`${breaches.length} breaches`);
  process.exit(1);
}
console.log(`openrpc.json: ${document.methods.length} methods conform to the meta-schema, ${held.size} of them with examples that conform to it`);
