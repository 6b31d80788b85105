// SPDX-License-Identifier: MIT
// Takes spreadsheets apart beside the page, which goes on meanwhile. Answers come in
// the order of the questions.
import { csvColumns } from "./csv.js";

self.onmessage = ({ data: { bytes, numbers } }) => {
  const sheet = csvColumns(new TextDecoder().decode(bytes), numbers);
  const buffers = Object.values(sheet.columns).map((column) => (column instanceof Float64Array ? column : column.at).buffer);
  self.postMessage(sheet, buffers);
};
