// Are these GLB or glTF files valid? Prints what the Khronos validator says of each; exits 1 if it
// finds an error or a file cannot be read, 2 without a file name.
//
//   node validate.mjs FILE...

import fs from 'node:fs';
import path from 'node:path';
import { validateBytes } from 'gltf-validator';

const SHOWN = 10;
const SEVERITY = ['error', 'warning', 'info', 'hint'];

const files = process.argv.slice(2);
if (files.length === 0) {
  console.error('usage: node validate.mjs FILE...');
  process.exit(2);
}

/** Validates one file and prints its line; true if it has no error. */
async function validate(file) {
  const beside = path.dirname(path.resolve(file));
  const { issues } = await validateBytes(new Uint8Array(fs.readFileSync(file)), {
    uri: path.basename(file),
    maxIssues: 0,
    externalResourceFunction: async (uri) =>
      new Uint8Array(fs.readFileSync(path.join(beside, decodeURIComponent(uri)))),
  });
  const { numErrors, numWarnings, numInfos, numHints, messages } = issues;
  console.log(`${file}: ${numErrors} errors, ${numWarnings} warnings, ${numInfos} infos, ${numHints} hints`);
  const serious = messages.filter((m) => m.severity <= 1);
  for (const m of serious.slice(0, SHOWN))
    console.log(`  ${SEVERITY[m.severity]} ${m.code} at ${m.pointer ?? `byte ${m.offset}`}: ${m.message}`);
  if (serious.length > SHOWN) console.log(`  and ${serious.length - SHOWN} more`);
  return numErrors === 0;
}

let valid = true;
for (const file of files) {
  try {
    valid = (await validate(file)) && valid;
  } catch (e) {
    console.log(`${file}: cannot be validated: ${e.message ?? e}`);
    valid = false;
  }
}
process.exit(valid ? 0 : 1);
