// SPDX-License-Identifier: MIT
// Between two pieces of work: the page shows what is done so far and answers whoever
// touches it.
export const pause = () => new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
