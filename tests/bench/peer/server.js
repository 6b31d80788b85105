// SPDX-License-Identifier: MIT
// What a team would write instead, for the intake bench: fastify and
// better-sqlite3, as durable as noonarcd (write-ahead log, synchronous FULL), a
// row for the run and a row for each reading; no checks, no science.
//   node server.js STORE each      commits each request by itself
//   node server.js STORE batch     commits what has gathered, once a turn of the loop
'use strict';
const Database = require('better-sqlite3');
const fastify = require('fastify')({ logger: false, bodyLimit: 262144 });

const [store, mode] = process.argv.slice(2);
const db = new Database(store);
db.pragma('journal_mode = WAL');
db.pragma('synchronous = FULL');
db.exec(`
  CREATE TABLE run (id INTEGER PRIMARY KEY, site TEXT NOT NULL, idempotency_key TEXT NOT NULL,
                    gnomon_mm REAL NOT NULL, edge TEXT NOT NULL);
  CREATE TABLE reading (run INTEGER NOT NULL, place INTEGER NOT NULL, time TEXT NOT NULL,
                        shadow_mm REAL NOT NULL, PRIMARY KEY (run, place)) WITHOUT ROWID`);
const addRun = db.prepare(
  'INSERT INTO run (site, idempotency_key, gnomon_mm, edge) VALUES (?, ?, ?, ?)');
const addReading = db.prepare(
  'INSERT INTO reading (run, place, time, shadow_mm) VALUES (?, ?, ?, ?)');

function write(request) {
  const { gnomon, readings } = request.body;
  const height = gnomon.parts.reduce((sum, part) => sum + part.length_mm, 0);
  const run = addRun.run(request.params.site, request.headers['idempotency-key'], height,
                         gnomon.edge).lastInsertRowid;
  for (let i = 0; i < readings.length; i++)
    addReading.run(run, i, readings[i].time, readings[i].shadow_mm);
  return { run: Number(run) };
}
const writeOne = db.transaction(write);
const writeAll = db.transaction((waiting) => waiting.map(({ request }) => write(request)));

let waiting = [];
function flush() {
  const batch = waiting;
  waiting = [];
  try {
    const answers = writeAll(batch);
    batch.forEach(({ resolve }, i) => resolve(answers[i]));
  } catch (error) {
    batch.forEach(({ reject }) => reject(error));
  }
}
function writeLater(request) {
  return new Promise((resolve, reject) => {
    if (waiting.push({ request, resolve, reject }) === 1) setImmediate(flush);
  });
}

fastify.post('/api/v1/days/:day/sites/:site/runs', async (request, reply) => {
  const answer = mode === 'batch' ? await writeLater(request) : writeOne(request);
  reply.code(201);
  return answer;
});
fastify.listen({ host: '127.0.0.1', port: 0 }).then((address) => {
  console.log(`listening on ${address}`);
}, (error) => {
  console.error(error.message);
  process.exit(1);
});
