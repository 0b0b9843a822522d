// check_openapi: DOCUMENT ANSWERS: is it a good OpenAPI 3.1 document (validator of npm), does it have
// each route and no other, are the answers as its schemas say (ajv), and does each key of an answer stand
// in it? Documents with a fault planted must be found out. Exit status 1 after telling what is wrong.
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import path from "node:path";
import { pathToFileURL } from "node:url";

const require = createRequire(path.join(path.resolve(process.env.VALIDATORS_FOLDER), "package.json"));
const { Validator } = await import(pathToFileURL(require.resolve("@seriousme/openapi-schema-validator")));
const Ajv = require("ajv/dist/2020").default;
const addFormats = require("ajv-formats").default;
const { parse } = require("yaml");

const [documentFile, answersFile] = process.argv.slice(2);
const text = readFileSync(documentFile, "utf8");
const { routes, answers } = JSON.parse(readFileSync(answersFile, "utf8"));

const pointer = (...parts) => parts.map((one) => "/" + String(one).replaceAll("~", "~0").replaceAll("/", "~1")).join("");

/** Follows references within the document: [what stands there, where]. */
function resolve(document, value, at) {
  while (value && value.$ref) {
    at = value.$ref.slice(1);
    value = at.split("/").slice(1).reduce((node, part) => node?.[part.replaceAll("~1", "/").replaceAll("~0", "~")], document);
  }
  return [value, at];
}

const template = (route) => route.replace(/\{[^}]*\}/g, "*");

/** Where the schema of an answer stands; a text says why there is none. */
function schemaOf(document, answer) {
  const [method, route] = answer.route.split(" ");
  const name = Object.keys(document.paths).find((one) => template(one) === route);
  const responses = document.paths[name]?.[method.toLowerCase()]?.responses;
  if (!responses) return "no such route";
  const key = responses[answer.status] ? String(answer.status) : "default";
  const [response, at] = resolve(document, responses[key], pointer("paths", name, method.toLowerCase(), "responses", key));
  if (!response?.content?.[answer.type]) return `no ${answer.type} with status ${answer.status}`;
  return [response.content[answer.type].schema, at + pointer("content", answer.type, "schema")];
}

/** Keys of an answer that no schema names. */
function* undescribed(document, schema, value, place) {
  [schema] = resolve(document, schema, "");
  if (Array.isArray(value)) {
    for (const one of value) yield* undescribed(document, schema?.items, one, `${place}[]`);
  } else if (value && typeof value === "object") {
    const parts = [schema, ...(schema?.allOf ?? [])].map((one) => resolve(document, one, "")[0]);
    for (const [key, inner] of Object.entries(value)) {
      const found = parts.map((part) => part?.properties?.[key] ?? part?.additionalProperties).find(Boolean);
      if (found) yield* undescribed(document, found, inner, `${place}.${key}`);
      else if (!(schema?.type === "object" && !schema.properties && !schema.additionalProperties)) yield `${place}.${key}`;
    }
  }
}

async function* faults(document) {
  const validator = new Validator();
  const judged = await validator.validate(structuredClone(document));
  if (!judged.valid) yield `not valid: ${JSON.stringify(judged.errors).slice(0, 600)}`;
  const told = Object.entries(document.paths).flatMap(([name, item]) =>
    Object.keys(item).filter((one) => one !== "parameters").map((method) => `${method.toUpperCase()} ${template(name)}`));
  for (const route of routes) if (!told.includes(route)) yield `${route} is missing`;
  for (const route of told) if (!routes.includes(route)) yield `${route} is none of the daemon's`;
  const ajv = addFormats(new Ajv({ strict: false, allErrors: true }));
  ajv.addSchema(document, "document");
  const seen = new Set();
  for (const answer of answers) {
    const found = schemaOf(document, answer);
    if (typeof found === "string") {
      yield `${answer.route} ${answer.status}: ${found}`;
      continue;
    }
    const check = ajv.getSchema(`document#${encodeURI(found[1])}`);
    if (!check(answer.body)) yield `${answer.route}: ${ajv.errorsText(check.errors).slice(0, 400)}`;
    for (const key of undescribed(document, found[0], answer.body, answer.route)) {
      if (!seen.has(key)) yield `${key} is not described`;
      seen.add(key);
    }
  }
}

const all = async (document) => (await Array.fromAsync?.(faults(document))) ?? (async () => {
  const list = [];
  for await (const one of faults(document)) list.push(one);
  return list;
})();

const planted = {
  "a missing route": (document) => delete document.paths["/api/visits"],
  "a route too many": (document) => { document.paths["/api/houses"] = document.paths["/api/visits"]; },
  "a wrong type": (document) => { document.components.schemas.SystemLine.properties.open_alarms = { type: "string" }; },
  "a key that is required and not there": (document) => document.components.schemas.Alarm.required.push("colour"),
  "a key that is not described": (document) => delete document.components.schemas.Visit.properties.bring,
  "a word that is not allowed": (document) => document.components.schemas.Delivery.properties.state.enum.splice(1, 1),
  "a document that is none": (document) => delete document.info.title,
};

let wrong = 0;
for (const one of await all(parse(text))) {
  console.log(`FAILED ${one}`);
  wrong += 1;
}
for (const [what, plant] of Object.entries(planted)) {
  const document = parse(text);
  plant(document);
  if ((await all(document)).length === 0) {
    console.log(`FAILED not found: ${what}`);
    wrong += 1;
  }
}
const asked = new Set(answers.filter((one) => one.status < 300).map((one) => one.route));
for (const route of routes) {
  if (!asked.has(route)) {
    console.log(`FAILED ${route}: no good answer was asked for`);
    wrong += 1;
  }
}
console.log(`${answers.length} answers of ${asked.size} routes`);
process.exit(wrong ? 1 : 0);
