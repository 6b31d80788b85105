// SPDX-License-Identifier: MIT
// Every figure explained, one paragraph each, at an address of its own.
import { begin } from "../house/page.js";
import words from "../words/method.json";

// The words may make the page longer or shorter: what was asked for comes into view once
// they stand.
begin(words, () => {
  document.getElementById(location.hash.slice(1))?.scrollIntoView();
});
