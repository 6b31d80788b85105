// SPDX-License-Identifier: MIT
// A text as a picture that a phone reads (QR code, ISO/IEC 18004), dark on light in
// either light of the page.
import { encode } from "uqr";
import { s } from "./dom.js";

const QUIET = 4; // modules of margin, by the standard

export function codePicture(text, label) {
  const { size, data } = encode(text, { ecc: "M", border: 0 });
  const squares = data.flatMap((row, y) => row.map((dark, x) => (dark ? `M${x + QUIET} ${y + QUIET}h1v1h-1z` : ""))).join("");
  const whole = size + 2 * QUIET;
  return s("svg", { class: "code-picture", viewBox: `0 0 ${whole} ${whole}`, role: "img", "aria-label": label },
    s("rect", { class: "code-light", width: whole, height: whole }), s("path", { class: "code-dark", d: squares }));
}
