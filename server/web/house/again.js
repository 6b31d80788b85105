// SPDX-License-Identifier: MIT
// What is sent again until it is answered: under a key of its own (Idempotency-Key), so
// that it counts once.

// Statuses after which nobody knows whether it was done: it may be sent again. 0: no network.
export const LATER = [0, 408, 429, 500, 502, 503, 504];

// So many bytes of chance, in hexadecimal.
export const token = (bytes) => [...crypto.getRandomValues(new Uint8Array(bytes))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
