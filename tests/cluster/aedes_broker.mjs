// aedes_broker: the broker of npm's aedes on loopback, sessions kept in its memory.
//     node aedes_broker.mjs PORT
// VALIDATORS_FOLDER names the folder whose node_modules holds it.
import { createRequire } from 'node:module';
import { createServer } from 'node:net';
import { pathToFileURL } from 'node:url';

const require = createRequire(`${process.env.VALIDATORS_FOLDER}/package.json`);
const { Aedes } = await import(pathToFileURL(require.resolve('aedes')));
const broker = await Aedes.createBroker();
createServer(broker.handle).listen(Number(process.argv[2]), '127.0.0.1');
