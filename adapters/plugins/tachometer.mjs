#!/usr/bin/env node
// A plugin for Node, without packages: a tachometer that prints `rpm=1520` lines into a file or a FIFO.
// The contract stands in adapters/kit/PLUGINS.md; `trisect adapter check` holds this program against it.
import { readFileSync } from "node:fs";
import { createInterface } from "node:readline";

const DESCRIPTION = {
  contract: 1,
  name: "line-tachometer",
  version: "1.0.0",
  title: "Tachometer that prints lines",
  channels: [{ channel: 0, title: "crankshaft", function: "rotational-speed" }],
  settings: {
    type: "object",
    required: ["file"],
    additionalProperties: false,
    properties: {
      file: { type: "string", description: "The file it prints to; its last whole line counts." },
      milliseconds: { type: "integer", minimum: 1, description: "Between readings; 100 if left out." },
    },
  },
};

const say = (message) => process.stdout.write(JSON.stringify({ jsonrpc: "2.0", ...message }) + "\n");
const silent = (why) => say({ method: "state", params: { state: "silent", why } });

let timer;

function measure({ file }) {
  // Nobody reads: what would be written now is held in memory, so wait instead.
  if (process.stdout.writableNeedDrain) return;
  let line;
  try {
    line = readFileSync(file, "utf8").split("\n").slice(0, -1).pop() ?? "";
  } catch (error) {
    return silent(`${error.message}: is the tachometer on?`);
  }
  const found = /^rpm=(\d+(?:\.\d+)?)$/.exec(line);
  if (!found) return silent(`no rpm=… in the last line of ${file}`);
  const sample = { channel: 0, function: "rotational-speed", value: Number(found[1]), unit: "rpm" };
  say({ method: "samples", params: { samples: [sample] } });
}

const METHODS = {
  describe: () => DESCRIPTION,
  start: ({ settings }) => {
    timer ??= setInterval(measure, settings.milliseconds ?? 100, settings);
    return null;
  },
  stop: () => {
    clearInterval(timer);
    // Ends once the answer is written.
    setImmediate(() => process.stdout.end(() => process.exit(0)));
    return null;
  },
};

const lines = createInterface({ input: process.stdin, terminal: false });
lines.on("line", (line) => {
  let request;
  try {
    request = JSON.parse(line);
  } catch {
    return;
  }
  const { id, method, params } = request ?? {};
  if (id === undefined || method === undefined) return;
  const known = Object.hasOwn(METHODS, method);
  const error = { code: -32601, message: `there is no method ${method}` };
  say(known ? { id, result: METHODS[method](params) } : { id, error });
});
lines.on("close", () => process.exit(0)); // the service is gone
