// The camera: its frames go to the decoder one at a time, and a code that stays in view counts once.

import { said } from "../texts.js";

const WANTED = { audio: false, video: { facingMode: { ideal: "environment" }, width: { ideal: 1280 }, height: { ideal: 720 } } };
const AWAY = 1500; // ms that a code must be out of view before it counts again
const EVERY = 60; // ms between two frames at least: a phone gets hot

/** Reads pictures in a worker. */
export class Decoder {
  #worker;
  #last = 0;
  #asked = new Map();

  constructor(address, vendor) {
    this.#worker = new Worker(address);
    this.#worker.onmessage = ({ data }) => this.#answer(data);
    this.#worker.onerror = (event) => this.#fail(event.message || said("the decoder doesn't start"));
    this.#worker.postMessage({ vendor });
  }

  /** The codes in an ImageData or in a picture's file. */
  read(picture) {
    const id = (this.#last += 1);
    return new Promise((resolve, reject) => {
      this.#asked.set(id, { resolve, reject });
      this.#worker.postMessage({ id, picture }, picture instanceof ImageData ? [picture.data.buffer] : []);
    });
  }

  #answer({ id, codes, error }) {
    const asked = this.#asked.get(id);
    this.#asked.delete(id);
    if (error) asked.reject(new Error(error));
    else asked.resolve(codes);
  }

  #fail(message) {
    for (const { reject } of this.#asked.values()) reject(new Error(message));
    this.#asked.clear();
  }
}

/** What is new in view. A linear code has few checks of its own: two frames must agree on it. */
export class View {
  #seen = new Map();
  #once = "";

  /** The code to take from a frame, or "". `time` in ms, `frame` its width and height. */
  take(codes, time, frame) {
    const fresh = codes.filter(({ text }) => time - (this.#seen.get(text) ?? -Infinity) > AWAY);
    for (const { text } of codes) if (this.#seen.has(text)) this.#seen.set(text, time);
    const [code] = fresh.sort((one, other) => off(one, frame) - off(other, frame));
    if (!code) return "";
    if (code.linear && this.#once !== code.text) {
      this.#once = code.text;
      return "";
    }
    this.#once = "";
    this.#seen.set(code.text, time);
    return code.text;
  }
}

const off = ({ middle }, { width, height }) => Math.hypot(middle.x - width / 2, middle.y - height / 2);

/** The camera on the page. `found` gets each code, `failed` what ended the reading. */
export class Camera {
  #video;
  #decoder;
  #found;
  #failed;
  #stream = null;
  #view = new View();
  #canvas = document.createElement("canvas");

  constructor({ video, decoder, found, failed }) {
    this.#video = video;
    this.#decoder = decoder;
    this.#found = found;
    this.#failed = failed;
  }

  /** Whether this browser lets the page ask for a camera: over HTTPS and on localhost alone. */
  static get there() {
    return Boolean(navigator.mediaDevices?.getUserMedia);
  }

  /** Show the camera and read from it until `stop`. Rejects where the person or the machine says no. */
  async start() {
    if (this.#stream) return;
    const stream = await navigator.mediaDevices.getUserMedia(WANTED);
    this.#stream = stream;
    this.#video.srcObject = stream;
    await this.#video.play();
    this.#look(stream).catch((error) => {
      this.stop();
      this.#failed(error);
    });
  }

  /** Let go of the camera. */
  stop() {
    for (const track of this.#stream?.getTracks() ?? []) track.stop();
    this.#stream = null;
    this.#video.srcObject = null;
  }

  /** Whether the camera has a light. */
  get hasLight() {
    return Boolean(this.#track?.getCapabilities?.().torch);
  }

  /** Turn the light on or off. */
  async light(on) {
    await this.#track?.applyConstraints({ advanced: [{ torch: on }] });
  }

  get #track() {
    return this.#stream?.getVideoTracks()[0];
  }

  async #look(stream) {
    while (this.#stream === stream) {
      const frame = this.#frame();
      if (frame) {
        const { width, height } = frame;
        const text = this.#view.take(await this.#decoder.read(frame), performance.now(), { width, height });
        if (text && this.#stream === stream) this.#found(text);
      }
      await new Promise((resolve) => setTimeout(resolve, EVERY));
    }
  }

  #frame() {
    const { videoWidth: width, videoHeight: height } = this.#video;
    if (!width) return null;
    if (this.#canvas.width !== width || this.#canvas.height !== height) Object.assign(this.#canvas, { width, height });
    const context = this.#canvas.getContext("2d", { willReadFrequently: true });
    context.drawImage(this.#video, 0, 0);
    return context.getImageData(0, 0, width, height);
  }
}
