// A worker that reads the codes in a picture. The only script that may compile WebAssembly, and only our own file of it.
"use strict";
importScripts("/static/vendor/zxing-wasm/reader.js");
const OPTIONS = { formats: ["QRCodeModel2", "Code128"], tryHarder: true, tryInvert: false, textMode: "Plain", maxNumberOfSymbols: 8 };
const ready = ZXingWASM.prepareZXingModule({
  overrides: { locateFile: (file) => `/static/vendor/zxing-wasm/${file}` }, fireImmediately: true,
});
ready.then(() => postMessage({ ready: true }), (error) => postMessage({ failed: String(error) }));
addEventListener("message", async (event) => {
  try {
    const found = await ZXingWASM.readBarcodes(event.data, OPTIONS);
    postMessage({ texts: found.filter((one) => one.isValid).map((one) => one.text) });
  } catch {
    postMessage({ texts: [] }); // a picture that cannot be read shows nothing
  }
});
