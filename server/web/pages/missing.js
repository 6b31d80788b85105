// SPDX-License-Identifier: MIT
// Where an address leads nowhere.
import { begin } from "../house/page.js";
import words from "../words/missing.json";

begin(words, () => {});
