// Validates shipped records against their schema with ajv, an implementation of
// JSON Schema that is not ours (draft 2020-12, formats asserted).
//
//	node ajv.cjs SCHEMA RECORD...
//
// Prints how many records it accepted, and the names of those it refused.
const fs = require("fs");
const Ajv = require("ajv/dist/2020").default;
const formats = require("ajv-formats").default;

const [schemaFile, ...records] = process.argv.slice(2);
const read = (name) => JSON.parse(fs.readFileSync(name, "utf8"));
const ajv = new Ajv({ strict: false, allErrors: true, validateFormats: true });
formats(ajv);
const schema = read(schemaFile);
if (!ajv.validateSchema(schema)) {
  console.log("schema refused");
  process.exit(1);
}
const validate = ajv.compile(schema);
const refused = records.filter((name) => !validate(read(name)));
console.log(`accepted ${records.length - refused.length}`);
for (const name of refused) console.log(`refused ${name}`);
