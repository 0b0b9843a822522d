// fleet: a small made-up fleet behind the real daemon, with history of its own, for the browser.
import { execFileSync, spawn } from 'node:child_process';
import fs from 'node:fs';
import http from 'node:http';
import net from 'node:net';
import path from 'node:path';

export const account = { name: 'installer', password: 'three small pumps' };
// yescrypt (crypt(5)) of that password, made with: mkpasswd -m yescrypt
const accountHash = '$y$j9T$2WLguQyaLmYt1uFvni8uA0$zn3OLrcoByWX6Njqwu.k6ZrFeC/n0Rahb786lHEegI9';

const HOUR = 3600_000;
const DAY = 24 * HOUR;
export const hostileName = `Kiln "House" <script>alert(1)</script> & 'Co'`;

// splitmix-like: the same readings in every run
let state = 12345;
function random() {
  state = (state * 1103515245 + 12345) % 2147483648;
  return state / 2147483648;
}
const noise = (size) => (random() + random() + random() - 1.5) * size;

function freePort() {
  return new Promise((resolve, reject) => {
    const server = net.createServer();
    server.once('error', reject);
    server.listen(0, '127.0.0.1', () => {
      const { port } = server.address();
      server.close(() => resolve(port));
    });
  });
}

async function until(what, seconds, condition) {
  const end = Date.now() + seconds * 1000;
  for (;;) {
    if (await condition().catch(() => false)) return;
    if (Date.now() > end) throw new Error(`not within ${seconds} s: ${what}`);
    await new Promise((resolve) => setTimeout(resolve, 50));
  }
}

// Full instrumentation for a few houses, a suction gauge and a radon monitor for the rest.
const richPoints = `
  - {id: suction, name: suction in the riser, quantity: suction, unit: inH2O, every: 1 h}
  - {id: flow, name: air flow, quantity: airflow, unit: cfm, every: 1 h}
  - {id: fan-power, name: fan power, quantity: fan-power, unit: W, every: 1 h, limits: {lost: 10 %}}
  - {id: hole-1, name: north test hole, quantity: field, unit: Pa, every: 1 h}
  - {id: hole-2, name: south test hole, quantity: field, unit: Pa, every: 1 h}
  - {id: radon, name: radon in the living room, quantity: radon, unit: pCi/L, every: 1 h}
  - {id: outdoors, name: outdoors, quantity: outdoor-temperature, unit: degF, every: 1 h}
  - {id: sump, name: water in the sump, quantity: water-level, unit: cm, every: 1 h, limits: {high: 25 cm}}
`;
const plainPoints = `
  - {id: suction, name: suction in the riser, quantity: suction, unit: inH2O, every: 1 h}
  - {id: radon, name: radon, quantity: radon, unit: pCi/L, every: 1 h}
`;

const houses = [
  { id: 'mill-house-3', name: 'Mill House 3', address: '3 Mill Race, back entrance', kind: 'fading', rich: true },
  { id: 'birch-lane-12', name: '12 Birch Lane', address: '12 Birch Lane', kind: 'good', rich: true },
  { id: 'kiln', name: hostileName, address: `1 "Quote" Street <b>rear</b>`, kind: 'stopped', rich: true },
  { id: 'quarry-7', name: 'Quarry Road 7', address: '7 Quarry Road', kind: 'silent', rich: false },
  ...Array.from({ length: 28 }, (_, i) => ({
    id: `row-${i + 1}`, name: `Row House ${i + 1}`, address: `${i + 1} Long Row`, kind: 'good', rich: false,
    region: 'long-row',
  })),
];

function systemFile(house) {
  const quoted = (text) => JSON.stringify(text);
  return `id: ${house.id}
name: ${quoted(house.name)}
address: ${quoted(house.address)}
time_zone: America/Denver
${house.region ? `region: ${house.region}\n` : ''}foundation: basement, drain tile loop
pipe: {inside_diameter: 3.068 in}
fan:
  curve: [[0 cfm, 1.9 inH2O], [40 cfm, 1.4 inH2O], [90 cfm, 0.2 inH2O]]
  power: 22 W
points:${house.rich ? richPoints : plainPoints}`;
}

// One hour of one house, by what is wrong with it. `day` counts from the beginning of history.
function* readings(house, from, to) {
  const length = (to - from) / DAY;
  for (let at = from; at < to; at += HOUR) {
    const day = (at - from) / DAY;
    if (house.kind === 'silent' && day > length - 9) return;
    if (house.rich && day > length * 0.45 && day < length * 0.45 + 6) continue; // a gap
    const season = Math.cos((2 * Math.PI * (day - 20)) / 365);
    let fan = 1 + noise(0.01);
    if (house.kind === 'fading') fan *= 1 - (0.17 * day) / length - (day > length - 25 ? 0.06 : 0);
    if (house.kind === 'stopped' && day > length - 2) fan = 0.02;
    const time = new Date(at).toISOString();
    const row = (point, value, unit) => `${time},${house.id},${point},${value.toFixed(4)},${unit}\n`;
    yield row('suction', 1.1 * fan ** 2 + noise(0.004), 'inH2O');
    yield row('radon', Math.max(0.2, (1.3 + 0.4 * season) * (fan < 0.5 ? 3 : 1 / fan) + noise(0.5)), 'pCi/L');
    if (!house.rich) continue;
    yield row('flow', 41 * fan, 'cfm');
    yield row('fan-power', 19 * fan ** 3 + noise(0.05), 'W');
    yield row('hole-1', 6 * fan ** 2 + noise(0.3), 'Pa');
    yield row('hole-2', 3.4 * fan ** 2 + noise(0.3), 'Pa');
    yield row('outdoors', 48 - 24 * season + noise(6), 'degF');
    yield row('sump', 9 + 5 * Math.max(0, Math.sin(day / 11)) + noise(0.4), 'cm');
  }
}

export class Fleet {
  constructor(build, folder) {
    this.build = build;
    this.folder = folder;
    this.programs = [];
    this.socket = path.join(folder, 'operator.sock');
  }

  write(name, text, mode = 0o600) {
    fs.mkdirSync(path.dirname(path.join(this.folder, name)), { recursive: true });
    fs.writeFileSync(path.join(this.folder, name), text, { mode });
  }

  run(name, command, args, environment = process.env) {
    const log = fs.openSync(path.join(this.folder, `${name}.log`), 'w');
    const program = spawn(command, args, { stdio: ['ignore', log, log], env: environment });
    this.programs.push(program);
    return program;
  }

  request(method, target, body, type = 'application/json') {
    return new Promise((resolve, reject) => {
      const request = http.request(
        { socketPath: this.socket, method, path: target, headers: { Host: 'localhost', 'Content-Type': type } },
        (response) => {
          let text = '';
          response.on('data', (part) => (text += part));
          response.on('end', () => resolve({ status: response.statusCode, text }));
        });
      request.on('error', reject);
      request.end(body);
    });
  }

  async start() {
    const brokerPort = await freePort();
    this.brokerPort = brokerPort;
    this.port = await freePort();
    this.write('broker.conf', `listener ${brokerPort} 127.0.0.1\nallow_anonymous true\n`);
    this.write('accounts', `# who may sign in\n${account.name}:${accountHash}\n`);
    for (const house of houses) this.write(`systems/${house.id}.yaml`, systemFile(house));
    this.write('settings.yaml', `broker: {host: 127.0.0.1, port: ${brokerPort}}
store: {file: ${this.folder}/subslab.db}
page: {address: 127.0.0.1, port: ${this.port}, access_file: accounts}
operator_socket: ${this.socket}
systems: systems/
enrolled_systems: enrolled/
`);
    this.run('broker', 'mosquitto', ['-c', path.join(this.folder, 'broker.conf')],
      { ...process.env, PATH: `${process.env.PATH}:/usr/sbin` });
    const daemon = this.run('daemon', path.join(this.build, 'subslabd'), ['--settings', path.join(this.folder, 'settings.yaml')]);
    this.daemon = daemon;
    await until('the daemon works', 30, async () => (await this.request('GET', '/health')).status === 200);
  }

  publish(topic, text) {
    execFileSync('mosquitto_pub', ['-h', '127.0.0.1', '-p', String(this.brokerPort), '-q', '1', '-t', topic, '-m', text]);
  }

  async commission(house, from) {
    const points = house.rich
      ? '{suction: 1.10 inH2O, flow: 41 cfm, fan-power: 19 W, hole-1: 6.0 Pa, hole-2: 3.4 Pa}'
      : '{suction: 1.10 inH2O}';
    const answer = await this.request('POST', `/api/systems/${house.id}/commission?file=record.yaml`,
      `date: ${new Date(from).toISOString()}\nby: the installer\ninstruments: micromanometer 12\nradon_before: 9.1 pCi/L\n` +
      `radon_after: 1.2 pCi/L\nground_exponent: 1.4\npoints: ${points}\nnotes: Sump lid sealed.\n`, 'text/yaml');
    if (answer.status !== 200) throw new Error(answer.text);
  }

  async import(lines) {
    for (let i = 0; i < lines.length; i += 20000) {
      const answer = await this.request('POST', '/api/import?file=history.csv&line=2',
        'time,system,point,value,unit\n' + lines.slice(i, i + 20000).join(''), 'text/csv');
      const result = JSON.parse(answer.text);
      if (answer.status !== 200 || result.bad) throw new Error(answer.text.slice(0, 300));
    }
  }

  // Up to the running hour, so that the newest readings are fresh.
  async fill() {
    const to = (Math.floor(Date.now() / HOUR) + 1) * HOUR;
    for (const house of houses) {
      const from = to - (house.rich ? 400 : 40) * DAY;
      await this.commission(house, from);
      await this.import([...readings(house, from, to)]);
    }
    const on = new Date(Date.now() - 200 * DAY).toISOString().slice(0, 10);
    const visit = await this.request('POST', '/api/systems/mill-house-3/visit-done', JSON.stringify(
      { on, by: 'the technician', found: 'lid loose', did: 'sealed the lid', values: { suction: '1.02 inH2O' } }));
    if (visit.status !== 200) throw new Error(visit.text);
    await until('an alarm is open', 20, async () =>
      JSON.parse((await this.request('GET', '/api/alarms')).text).length > 0);
  }

  async stop() {
    for (const program of this.programs.reverse()) {
      if (program.exitCode !== null) continue;
      const ended = new Promise((resolve) => program.once('exit', resolve));
      program.kill('SIGTERM');
      await ended;
    }
  }
}
