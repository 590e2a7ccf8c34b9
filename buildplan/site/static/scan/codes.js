// What the page itself must know of a code: whether it is one of our labels, and how people read it. The rest is the server's.

const SYMBOLOGY = /^\][A-Za-z][0-9A-Za-z]/;
const TOKEN = /^RL[0-9A-Z]{8}[0-9A-Z*]$/;
const ADDRESS = /^https?:\/\/[^/?#]+(?:\/[^?#]*)?\/t\/([^/?#]+)\/?$/i;
const CONTROLS = /[\u0000-\u001f\u007f]/g;
const PICTURES = 0x2400;

/** Whether the text starts with a symbology identifier, as a scanner sends it. */
export function hasSymbology(text) {
  return SYMBOLOGY.test(text);
}

/** The token of our own label in a code, or "". The server checks its check character. */
export function tokenIn(text) {
  const bare = text.replace(SYMBOLOGY, "").trim();
  const found = ADDRESS.exec(bare);
  const token = (found ? found[1] : bare).toUpperCase();
  return TOKEN.test(token) ? token : "";
}

/** The code as people read it: without the symbology identifier, separators as pictures. */
export function shown(text) {
  return text
    .replace(SYMBOLOGY, "")
    .replace(CONTROLS, (mark) => String.fromCharCode(mark === "\u007f" ? 0x2421 : PICTURES + mark.charCodeAt(0)));
}

/** A random UUID. `randomUUID` is there over HTTPS and on localhost alone. */
export function uuid() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}
