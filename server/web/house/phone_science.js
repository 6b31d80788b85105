// SPDX-License-Identifier: MIT
// The science as a page loads it.
import wasm from "science.wasm";
import { scienceOf } from "./science.js";

export const science = fetch(wasm).then((answer) => answer.arrayBuffer()).then(scienceOf);
