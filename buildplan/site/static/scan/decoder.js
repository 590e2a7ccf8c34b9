// A worker that reads the codes in pictures. It is served with a policy of its own, the only one that lets WebAssembly compile.

/* global ZXingWASM */
"use strict";

const OPTIONS = {
  formats: ["QRCode", "MicroQRCode", "DataMatrix", "EAN13", "EAN8", "UPCA", "UPCE", "Code128", "Code39", "ITF", "DataBar"],
  textMode: "Plain", // as it stands: the way that people read it puts brackets and pictures into the text
  tryDenoise: false,
  maxNumberOfSymbols: 8,
};
const LINEAR = new Set(["EANUPC", "Code128", "Code39", "ITF", "DataBar"]);

const middle = ({ topLeft, topRight, bottomRight, bottomLeft }) => ({
  x: (topLeft.x + topRight.x + bottomRight.x + bottomLeft.x) / 4,
  y: (topLeft.y + topRight.y + bottomRight.y + bottomLeft.y) / 4,
});

async function read(picture) {
  const found = await ZXingWASM.readBarcodes(picture, OPTIONS);
  return found.map((code) => ({
    text: code.symbologyIdentifier + code.text,
    linear: LINEAR.has(code.symbology),
    middle: middle(code.position),
  }));
}

self.onmessage = async ({ data: { id, vendor, picture } }) => {
  if (vendor) {
    importScripts(`${vendor}reader.js`);
    // It would ask a CDN for its .wasm: ours lies beside it.
    ZXingWASM.prepareZXingModule({ overrides: { locateFile: (path) => vendor + path } });
    return;
  }
  try {
    self.postMessage({ id, codes: await read(picture) });
  } catch (error) {
    self.postMessage({ id, error: String(error) });
  }
};
