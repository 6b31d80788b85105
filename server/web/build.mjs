// SPDX-License-Identifier: MIT
// Makes the pages: bundles pages/*.js and the stylesheet under names that carry a
// hash of their content, fills shell.html once a page, and lays the gzip form of
// every file beside it. Nothing is fetched: all comes from NPM and this folder.
//
//   node server/web/build.mjs NPM SCIENCE.wasm OUT
//
// pages.json lists the pages. A page is named by the fixed words of its address,
// index for "/" (the server names them alike): pages/NAME.html is what stands
// inside <main>, pages/NAME.js is started when it is there. A page that asks the service
// for what it shows has its title stand alone until it is there (reveal in house/page.js).
import { createHash } from "node:crypto";
import { existsSync, mkdirSync, readdirSync, readFileSync, renameSync, rmSync, statSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import { basename, join, resolve } from "node:path";
import { fileURLToPath } from "node:url";
import { gzipSync } from "node:zlib";

const [npm, wasm, out] = process.argv.slice(2).map((path) => resolve(path));
const here = fileURLToPath(new URL(".", import.meta.url));
const { build } = createRequire(join(npm, "package.json"))("esbuild");
const fresh = `${out}.new`;
const GAIN_BYTES = 1024; // below, gzip is not worth a file of its own

const pageName = (address) => address.slice(1).replace(/[{}]/g, "").replace(/\//g, "-") || "index";
const pages = JSON.parse(readFileSync(join(here, "pages.json"), "utf8")).map((page) => ({ ...page, name: pageName(page.address) }));
const words = Object.assign({}, ...readdirSync(join(here, "words"))
  .map((file) => JSON.parse(readFileSync(join(here, "words", file), "utf8"))));

// --- scripts and styles

// "apart:FILE" is the address of a file that is sent by itself: data as they stand, a
// script as the program of a worker.
const apart = {
  name: "apart",
  setup({ onResolve, onLoad, resolve: find }) {
    onResolve({ filter: /^apart:/ }, async ({ path, kind, importer, resolveDir }) => {
      const { path: found, errors } = await find(path.slice("apart:".length), { kind, importer, resolveDir });
      return { path: found, namespace: "apart", errors };
    });
    onLoad({ filter: /./, namespace: "apart" }, async ({ path }) => ({
      contents: path.endsWith(".js") ? await workerProgram(path) : readFileSync(path), loader: "file",
    }));
  },
};

async function workerProgram(path, more = {}) {
  const { outputFiles: [program] } = await build({
    absWorkingDir: here, entryPoints: [path], bundle: true, write: false, format: "iife", target: ["es2022"],
    minify: true, legalComments: "none", nodePaths: [join(npm, "node_modules")], logLevel: "warning", ...more,
  });
  return program.contents;
}

async function bundle() {
  const { metafile } = await build({
    absWorkingDir: here,
    entryPoints: [...pages.map(({ name }) => `pages/${name}.js`), "look/look.css"],
    outdir: join(fresh, "assets"),
    entryNames: "[name]-[hash]",
    chunkNames: "part-[hash]",
    assetNames: "[name]-[hash]",
    publicPath: "/assets",
    bundle: true,
    splitting: true,
    format: "esm",
    target: ["es2022"],
    minify: true,
    metafile: true,
    legalComments: "none",
    nodePaths: [join(npm, "node_modules")],
    plugins: [apart],
    alias: { "science.wasm": wasm },
    loader: { ".svg": "file", ".wasm": "file", ".webmanifest": "file" },
    logLevel: "warning",
  });
  return metafile.outputs;
}

const address = (output) => `/assets/${basename(output)}`;

// What an entry loads before it can start, and everything it may ever load.
function reach(outputs, output, kinds, seen = new Set()) {
  for (const { path, kind } of outputs[output].imports)
    if (kinds.includes(kind) && outputs[path] !== undefined && !seen.has(path)) {
      seen.add(path);
      reach(outputs, path, kinds, seen);
    }
  return seen;
}

function outputOf(outputs, entry) {
  const found = Object.keys(outputs).find((output) => outputs[output].entryPoint === entry);
  if (found === undefined) throw new Error(`${entry} was not bundled`);
  return found;
}

// --- pages

function word(key) {
  if (words[key] === undefined) throw new Error(`the words have no "${key}"`);
  return words[key][0].replace(/[&<>"]/g, (sign) => ({ "&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;" })[sign]);
}

// The English words stand in the page as it is sent; the house puts others there.
const fillWords = (html) => html
  .replace(/(<[^<>]*\sdata-word="([^"]+)"[^<>]*>)(?=<)/g, (_, tag, key) => tag + word(key))
  .replace(/\sdata-word-label="([^"]+)"/g, (whole, key) => `${whole} aria-label="${word(key)}"`);

// A file of this folder that is sent as it is, under a hashed name.
function place(path, content = readFileSync(join(here, path))) {
  const hash = createHash("sha256").update(content).digest("hex").slice(0, 8).toUpperCase();
  const name = basename(path).replace(/(\.[a-z]+)$/, `-${hash}$1`);
  writeFileSync(join(fresh, "assets", name), content);
  return `/assets/${name}`;
}

function makePages(outputs) {
  const shell = readFileSync(join(here, "shell.html"), "utf8");
  const mark = place("look/mark.svg");
  const manifest = place("look/noonarc.webmanifest",
    readFileSync(join(here, "look/noonarc.webmanifest"), "utf8").replaceAll("{{mark}}", mark));
  const style = address(outputOf(outputs, "look/look.css"));
  const loads = {};
  for (const { name, title, asks } of pages) {
    const script = outputOf(outputs, `pages/${name}.js`);
    const first = [...reach(outputs, script, ["import-statement"])].map(address);
    const main = join(here, "pages", `${name}.html`);
    const values = {
      title: word(title), titleKey: title, style, mark, manifest, script: address(script),
      preloads: first.map((path) => `<link rel="modulepreload" href="${path}">`).join("\n"),
      before: asks ? `<section id="before"><h1 data-word="${title}"></h1></section>\n` : "",
      main: existsSync(main) ? readFileSync(main, "utf8").trim() : "",
    };
    const html = fillWords(shell.replace(/\{\{(\w+)\}\}/g, (_, key) => values[key]));
    writeFileSync(join(fresh, `${name}.html`), html);
    loads[name] = [style, mark, manifest, address(script),
      ...[...reach(outputs, script, ["import-statement", "dynamic-import", "file-loader"])].map(address)];
  }
  return loads;
}

// The worker keeps the pages that work without a network.
async function makeWorker(loads) {
  const kept = pages.filter((page) => page.offline).map(({ name, address: at }) => [name, at]);
  const files = [...new Set([...kept.map(([, at]) => at), ...kept.flatMap(([name]) => loads[name])])];
  const version = createHash("sha256");
  for (const [name] of kept) version.update(readFileSync(join(fresh, `${name}.html`)));
  writeFileSync(join(fresh, "worker.js"), await workerProgram("worker.js", {
    define: { FILES: JSON.stringify(files), VERSION: JSON.stringify(version.digest("hex").slice(0, 16)) },
  }));
}

function pack(folder) {
  for (const name of readdirSync(folder)) {
    const path = join(folder, name);
    if (statSync(path).isDirectory()) {
      pack(path);
      continue;
    }
    const plain = readFileSync(path);
    const packed = gzipSync(plain, { level: 9 });
    if (plain.length > GAIN_BYTES && packed.length < plain.length) writeFileSync(`${path}.gz`, packed);
  }
}

rmSync(fresh, { recursive: true, force: true });
mkdirSync(join(fresh, "assets"), { recursive: true });
const outputs = await bundle();
await makeWorker(makePages(outputs));
pack(fresh);
rmSync(out, { recursive: true, force: true });
renameSync(fresh, out);
