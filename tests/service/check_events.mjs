// check_events: are the events and signatures that we send good in the eyes of others? The judges
// are two independent libraries, cloudevents and standardwebhooks, installed with npm into the
// folder that VALIDATORS_FOLDER names. TOOL_EVENT names the program built from
// tests/support/tool_event.c. Ends with the line `N passed, N failed`.
import assert from "node:assert";
import { execFileSync } from "node:child_process";
import { createRequire } from "node:module";
import path from "node:path";

const folder = process.env.VALIDATORS_FOLDER;
const tool = process.env.TOOL_EVENT;
if (!folder || !tool) {
  console.error("set VALIDATORS_FOLDER and TOOL_EVENT");
  process.exit(2);
}
const require = createRequire(path.join(path.resolve(folder), "package.json"));
const { CloudEvent, HTTP } = require("cloudevents");
const { Webhook } = require("standardwebhooks");

let passed = 0;
let failed = 0;
function check(name, body) {
  try {
    body();
    passed += 1;
  } catch (error) {
    failed += 1;
    console.log(`FAILED ${name}: ${error.message}`);
  }
}

const now = Math.floor(Date.now() / 1000);
const samples = execFileSync(tool, [String(now)], { encoding: "utf8" })
  .trim().split("\n").map((line) => JSON.parse(line));

check("there are samples of every type", () => {
  const types = new Set(samples.map((sample) => sample.type));
  assert.strictEqual(types.size, 8);
});

for (const sample of samples) {
  const message = { headers: { "content-type": sample.contentType, ...sample.headers },
                    body: sample.body };

  check(`${sample.name}: is a structured CloudEvent`, () => {
    assert.ok(HTTP.isEvent(message));
    const event = HTTP.toEvent(message);
    assert.ok(event.validate());
    assert.strictEqual(event.specversion, "1.0");
    assert.strictEqual(event.type, sample.type);
    assert.strictEqual(event.id, sample.headers["webhook-id"]);
    assert.strictEqual(event.source, "/subslab/subslabd%20test");
    assert.strictEqual(event.subject ?? "", sample.subject);
    assert.strictEqual(Date.parse(event.time), now * 1000);
    assert.strictEqual(typeof event.data, "object");
    assert.ok(event.data.text.length > 20);
  });

  check(`${sample.name}: holds under strict validation`, () => {
    const event = new CloudEvent(JSON.parse(sample.body), true);
    assert.ok(event.validate());
  });

  check(`${sample.name}: the signature is good`, () => {
    const opened = new Webhook(sample.secret).verify(sample.body, sample.headers);
    assert.strictEqual(opened.id, sample.headers["webhook-id"]);
  });

  check(`${sample.name}: a changed body is noticed`, () => {
    const changed = sample.body.replace("1.0", "1.1");
    assert.notStrictEqual(changed, sample.body);
    assert.throws(() => new Webhook(sample.secret).verify(changed, sample.headers));
  });

  check(`${sample.name}: we sign what they sign`, () => {
    const theirs = new Webhook(sample.secret)
      .sign(sample.headers["webhook-id"], new Date(now * 1000), sample.body);
    assert.strictEqual(sample.headers["webhook-signature"], theirs);
  });
}

check("an old timestamp is refused by them, so ours must be fresh at each try", () => {
  const [old] = execFileSync(tool, [String(now - 3600)], { encoding: "utf8" })
    .trim().split("\n").map((line) => JSON.parse(line));
  assert.throws(() => new Webhook(old.secret).verify(old.body, old.headers));
});

console.log(`${passed} passed, ${failed} failed`);
process.exit(failed === 0 ? 0 : 1);
