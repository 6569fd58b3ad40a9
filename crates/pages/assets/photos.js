// Photos: made small, and named by the hash of their bytes, before they are kept.

const LONGEST_SIDE = 1600;
const MOST_BYTES = 1_500_000;

/**
 * A photo as it is kept: no side longer than 1,600 pixels, drawn anew, so that nothing of the file is left
 * but what can be seen. Where it was taken does not go along.
 */
export async function scaled(file) {
  let picture;
  try {
    picture = await createImageBitmap(file);
  } catch {
    throw new Error(`${file.name || "the file"} is no picture that this browser can show; take the photo anew or choose another`);
  }
  const share = Math.min(1, LONGEST_SIDE / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(picture.width * share));
  canvas.height = Math.max(1, Math.round(picture.height * share));
  const drawing = canvas.getContext("2d");
  drawing.fillStyle = "#fff"; // a plan may be drawn on nothing
  drawing.fillRect(0, 0, canvas.width, canvas.height);
  drawing.drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  for (const quality of [0.85, 0.6, 0.4]) {
    const blob = await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", quality));
    if (!blob) break;
    if (blob.size > MOST_BYTES && quality > 0.4) continue;
    const bytes = await blob.arrayBuffer();
    return { hash: await sha256(new Uint8Array(bytes)), type: "image/jpeg", bytes, width: canvas.width, height: canvas.height };
  }
  throw new Error("this browser could not make the photo smaller; choose another");
}

/** SHA-256 (FIPS 180-4, 6.2) in hexadecimal; by the browser where it has it, which plain http has not. */
export async function sha256(bytes) {
  const digest = globalThis.crypto?.subtle
    ? new Uint8Array(await crypto.subtle.digest("SHA-256", bytes))
    : sha256Here(bytes);
  return Array.from(digest, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

/** The first 32 bits of the fractions of the cube roots, or square roots, of the first primes. */
function fractions(count, root) {
  const found = [];
  for (let number = 2; found.length < count; number += 1) {
    let isPrime = true;
    for (let by = 2; by * by <= number; by += 1) if (number % by === 0) isPrime = false;
    if (isPrime) found.push(Math.floor((root(number) % 1) * 2 ** 32) >>> 0);
  }
  return found;
}

export function sha256Here(bytes) {
  const k = fractions(64, Math.cbrt);
  const state = Uint32Array.from(fractions(8, Math.sqrt));
  const padded = new Uint8Array(Math.ceil((bytes.length + 9) / 64) * 64);
  padded.set(bytes);
  padded[bytes.length] = 0x80;
  const view = new DataView(padded.buffer);
  view.setUint32(padded.length - 8, Math.floor(bytes.length / 2 ** 29));
  view.setUint32(padded.length - 4, (bytes.length << 3) >>> 0);
  const turn = (word, by) => (word >>> by) | (word << (32 - by));
  const w = new Uint32Array(64);
  for (let at = 0; at < padded.length; at += 64) {
    for (let t = 0; t < 16; t += 1) w[t] = view.getUint32(at + 4 * t);
    for (let t = 16; t < 64; t += 1) {
      const low = turn(w[t - 15], 7) ^ turn(w[t - 15], 18) ^ (w[t - 15] >>> 3);
      const high = turn(w[t - 2], 17) ^ turn(w[t - 2], 19) ^ (w[t - 2] >>> 10);
      w[t] = w[t - 16] + low + w[t - 7] + high;
    }
    let [a, b, c, d, e, f, g, h] = state;
    for (let t = 0; t < 64; t += 1) {
      const one = (h + (turn(e, 6) ^ turn(e, 11) ^ turn(e, 25)) + ((e & f) ^ (~e & g)) + k[t] + w[t]) | 0;
      const two = ((turn(a, 2) ^ turn(a, 13) ^ turn(a, 22)) + ((a & b) ^ (a & c) ^ (b & c))) | 0;
      [h, g, f, e, d, c, b, a] = [g, f, e, (d + one) | 0, c, b, a, (one + two) | 0];
    }
    for (const [idx, word] of [a, b, c, d, e, f, g, h].entries()) state[idx] += word;
  }
  const digest = new Uint8Array(32);
  const out = new DataView(digest.buffer);
  state.forEach((word, idx) => out.setUint32(4 * idx, word));
  return digest;
}
