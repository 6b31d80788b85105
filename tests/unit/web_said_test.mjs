// SPDX-License-Identifier: MIT
// What the service tells by names and figures, as the pages say it: flags of runs, changes
// of editions, counts; in every language.
import assert from "node:assert/strict";
import { createRequire } from "node:module";
import { join } from "node:path";
import { readFileSync } from "node:fs";
import test from "node:test";
import { fileURLToPath } from "node:url";

const root = fileURLToPath(new URL("../../", import.meta.url));
const { build } = createRequire(join(root, "build/npm/package.json"))("esbuild");
const tables = ["flag", "noon", "slip", "edition", "play"];
const { outputFiles: [bundled] } = await build({
  stdin: {
    contents: `export { flagSays } from "./house/flags.js"; export { changeSays } from "./house/changes.js";
      export { countWord, number } from "./house/format.js"; import { useWords } from "./house/words.js";
      ${tables.map((name) => `import ${name} from "./words/${name}.json"; useWords(${name});`).join("\n")}`,
    resolveDir: join(root, "server/web"),
  }, bundle: true, format: "esm", write: false,
});
async function pageIn(languages) {
  Object.defineProperty(globalThis, "navigator", { value: { languages }, configurable: true });
  return import(`data:text/javascript;base64,${Buffer.from(`${bundled.text}\n// ${languages}`).toString("base64")}`);
}
const english = await pageIn(["en-GB"]);
const spanish = await pageIn(["es-AR"]);
const plain = (text) => text.replace(/[\u202f\u00a0]/g, " ").replace(/\u2212/g, "-");
const both = (says) => [english, spanish].map((page) => plain(says(page)));

const FLAGS = [
  ["not_reduced", { status: "noon_unusable", noon_status: "sun_too_low", slip: null },
    "The Sun cannot be measured with a shadow at this noon. The Sun stays too low.",
    "A este mediodía no se puede medir el Sol con una sombra. El Sol se queda demasiado bajo."],
  ["whole_run", { slip: "position_swapped" },
    "The shadows fit when latitude and longitude of the site are exchanged.",
    "Las sombras encajan si se cambian la latitud y la longitud del lugar."],
  ["readings_left_out", { left_out: 1, readings: 12, reading: 3, utc: "2027-03-18T16:38:01.25Z", shadow_mm: 269, slip: "too_low" },
    "1 of 12 readings is left out: reading 4, 16:38:01 UTC, 269 mm. The Sun stood less than 10 degrees high, where the air bends its light too uncertainly.",
    /^se excluye 1 de 12 lecturas: lectura 4, 16:38:01 UTC, 269 mm\. El Sol estaba a menos de 10/],
  ["readings_left_out", { left_out: 3, readings: 12, reading: 0, utc: "2027-03-18T16:38:01Z", shadow_mm: 1269.5, slip: "tenfold" },
    /^3 of 12 readings are left out; the first: reading 1, 16:38:01 UTC, 1269\.5 mm\. The shadow looks ten times/,
    /^se excluyen 3 de 12 lecturas; la primera: lectura 1, 16:38:01 UTC, 1269,5 mm\. La sombra parece diez/],
  ["clock_off", { offset_s: 3599.8, sigma_s: 0.1, bound_s: 15, applied_s: 3599.8 },
    /^The class’s clock was measured 1 hr 00 mins fast; the day allows 15 secs\. By the rule of the day that was taken off every time\.$/,
    /^Se midió que el reloj de la clase iba 1 h 00 min adelantado; la jornada admite 15 seg\. de desvío\. Según la regla de la jornada, eso se descontó de todas las horas\.$/],
  ["clock_off", { offset_s: -42.5, sigma_s: 0.1, bound_s: 15, applied_s: 0 },
    /4[23] secs slow; .* the times count as they came, and the ± is larger for it\.$/, /iba 4[23] seg\. atrasado; .* cuentan como llegaron, y por eso el ± es mayor\.$/],
  ["ways_disagree", { noon_angle_deg: -32.1284, free_deg: -32.9041, apart_sigma: 3.44 },
    "Without trusting the clock the same readings give -32.904°, 3.4 σ from the published -32.128°: look at clock and level.",
    "Sin confiar en el reloj, las mismas lecturas dan -32,904°, a 3,4 σ de los -32,128° publicados: mira el reloj y el nivel."],
  ["off_the_line", { residual_deg: 1.1004, apart_sigma: 21.04 },
    /^The noon angle lies \+1\.100°, 21\.0 σ, off the line/, /^El ángulo de mediodía se aparta \+1,100°, 21,0 σ, de la recta/],
];

const holds = (told, wanted) => (wanted instanceof RegExp ? assert.match(told, wanted) : assert.equal(told, wanted));

test("every flag is said from its figures, in every language", () => {
  for (const [flag, details, ...wanted] of FLAGS)
    both((page) => page.flagSays({ flag, details, words: "of the service" })).forEach((told, i) => holds(told, wanted[i]));
  const source = readFileSync(join(root, "server/wire/review.c"), "utf8");
  const known = [...source.matchAll(/\[FLAG_\w+\] = "(\w+)"/g)].map(([, name]) => name);
  assert.equal(known.length, 6);
  assert.deepEqual(known.filter((name) => !FLAGS.some(([flag]) => flag === name)), []);
  assert.equal(spanish.flagSays({ flag: "to_come", details: {}, words: "of the service" }), "of the service");
});

const CHANGES = [
  [{ change: "result", circumference_km: 39902.4, sigma_km: 44.1, circumference_before_km: 39988.2, sigma_before_km: 61 },
    "The circumference is 39 902 ± 44 km; before it was 39 988 ± 61 km.", "La circunferencia es 39 902 ± 44 km; antes era 39 988 ± 61 km."],
  [{ change: "method", method: "noon-4", method_before: "noon-3" }, "It is worked out by method noon-4; before by noon-3.", "Se calcula con el método noon-4; antes, con noon-3."],
  [{ change: "day_added", day: "may" }, "Day may is part of it now.", "La jornada may ahora forma parte."],
  [{ change: "day_removed", day: "may" }, "Day may is no part of it any more.", "La jornada may ya no forma parte."],
  [{ change: "rules_changed", day: "may" }, "The rules or dates of day may were changed.", "Cambiaron las reglas o las fechas de la jornada may."],
  [{ change: "withdrawn", day: "may", count: 2, count_before: 0 }, "Runs of day may withdrawn by their schools: 2, before 0.", "Series de la jornada may retiradas por sus escuelas: 2; antes, 0."],
  [{ change: "not_agreed", day: "may", count: 12000, count_before: 5000 }, /: 12 000, before 5000\.$/, /: 12 000; antes, 5000\.$/],
  [{ change: "site_added", site: "tola" }, "Tola School is part of it now.", "Tola School ahora forma parte."],
  [{ change: "site_removed", site: "gone" }, "gone is no part of it any more.", "gone ya no forma parte."],
  [{ change: "site_moved", site: "tola" }, "The position of Tola School is another.", "La posición de Tola School es otra."],
  [{ change: "site_renamed", site: "tola" }, "Tola School has another name now.", "Tola School tiene ahora otro nombre."],
  [{ change: "run_added", day: "may", site: "tola", run: 7 }, "Run 7 of Tola School on day may came in.", "Llegó la serie 7 de Tola School de la jornada may."],
  [{ change: "run_removed", day: "may", site: "tola", run: 7 }, "Run 7 of Tola School on day may is gone.", "La serie 7 de Tola School de la jornada may ya no está."],
  [{ change: "run_corrected", day: "may", site: "tola", run: 9, run_before: 7 }, "Tola School corrected its run on day may: run 9 in place of run 7.", "Tola School corrigió su serie de la jornada may: la serie 9 en lugar de la 7."],
  [{ change: "excluded", run: 7, reason: "It leaned." }, "Run 7 was left out: It leaned.", "Se excluyó la serie 7: It leaned."],
  [{ change: "excluded", run: 7, reason: "It leaned.", reason_before: "It fell." }, "Run 7 is left out for another reason: It leaned.", "La serie 7 se excluye por otro motivo: It leaned."],
  [{ change: "let_in", run: 7 }, "Run 7, left out before, counts again.", "La serie 7, antes excluida, vuelve a contar."],
];
const named = (site) => ({ tola: "Tola School" })[site] ?? site;

test("every change is said from its figures, in every language", () => {
  for (const [change, ...wanted] of CHANGES)
    both((page) => page.changeSays({ ...change, words: "of the service" }, named)).forEach((told, i) => holds(told, wanted[i]));
  const document = JSON.parse(readFileSync(join(root, "server/api/openapi.json"), "utf8"));
  const known = document.components.schemas.EditionChange.properties.change.enum;
  assert.deepEqual(known.filter((name) => !CHANGES.some(([{ change }]) => change === name)), []);
});

test("editions from before changes had figures keep their own words", () => {
  for (const change of ["result", "method", "withdrawn", "not_agreed", "run_corrected", "excluded", "to_come"])
    assert.equal(spanish.changeSays({ change, day: "may", site: "tola", run: 7, words: "of the service" }, named), "of the service");
});

test("a count in words has the form of a figure", () => {
  for (const count of [1, 999, 5000, 10000, 1234567])
    for (const page of [english, spanish]) assert.ok(page.countWord("play.on_phone", count).startsWith(`${page.number(count)} `), String(count));
  assert.match(plain(english.countWord("play.on_phone", 5000)), /^5000 readings/);
  assert.match(plain(spanish.countWord("play.on_phone", 1)), /^1 lectura /);
});
