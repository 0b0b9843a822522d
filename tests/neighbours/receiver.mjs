// receiver: an endpoint as somebody else would write it: it takes a POST only when the library
// standardwebhooks finds its signature good and the library cloudevents takes it for an event. SECRET
// (whsec_…) is its argument. Prints "PORT n", then a line of JSON for each request:
// {"status": 204, "id", "type", "subject", "text"} or {"status": 401, "why"}.
import { createServer } from "node:http";
import { createRequire } from "node:module";
import path from "node:path";

const require = createRequire(path.join(path.resolve(process.env.VALIDATORS_FOLDER), "package.json"));
const { HTTP } = require("cloudevents");
const { Webhook } = require("standardwebhooks");

const judge = new Webhook(process.argv[2]);

const server = createServer((request, response) => {
  const parts = [];
  request.on("data", (part) => parts.push(part));
  request.on("end", () => {
    const body = Buffer.concat(parts).toString("utf8");
    let said;
    try {
      judge.verify(body, request.headers);
      const event = HTTP.toEvent({ headers: request.headers, body });
      event.validate();
      if (event.id !== request.headers["webhook-id"]) throw new Error("another id in the event");
      said = { status: 204, id: event.id, type: event.type, subject: event.subject, text: event.data.text };
    } catch (error) {
      said = { status: 401, why: String(error.message) };
    }
    console.log(JSON.stringify(said));
    response.writeHead(said.status).end();
  });
});
server.listen(0, "127.0.0.1", () => console.log(`PORT ${server.address().port}`));
process.stdin.on("end", () => process.exit(0)).resume();
