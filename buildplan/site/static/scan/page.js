// The scan page: every way to give a code ends in `take`, which keeps the scan first and sends it then.

import { told } from "./answers.js";
import { Camera, Decoder } from "./camera.js";
import { shown, tokenIn, uuid } from "./codes.js";
import { signal, wake } from "./feedback.js";
import { Listing } from "./listing.js";
import { Outbox } from "./outbox.js";
import { Sender } from "./sender.js";
import { Standing } from "./standing.js";
import { said } from "../texts.js";
import { leaveCarefully, serve } from "./worker-client.js";
import { listen } from "./wedge.js";

const $ = (id) => document.getElementById(id);
const { dataset } = $("scan");
const owner = { user: dataset.user, workshop: dataset.workshop, who: dataset.who };
const form = $("act");
const standing = new Standing(form, $("lots"), `${owner.user} ${owner.workshop}`);

let outbox;
let sender;
let listing;
let last = ""; // the uuid of the last scan made here: whose answer is shown large, and what Undo undoes

/** Show something large, and say it aloud. */
function say(sign, head, text = "", links = []) {
  $("result").dataset.sign = sign;
  $("result-head").textContent = head;
  $("result-text").textContent = text;
  $("result-links").replaceChildren(...links.map(link));
  offer([]);
  if (sign !== "ready") signal(sign, { sound: $("sound").checked });
}

function link([text, address]) {
  const made = document.createElement("a");
  made.href = address;
  made.textContent = text;
  return made;
}

/** Show a button for each [words, what it does]; one press puts all of them away. */
function offer(choices) {
  $("result-choices").replaceChildren(
    ...choices.map(([words, press]) => {
      const button = Object.assign(document.createElement("button"), { type: "button", className: "plain", textContent: words });
      button.addEventListener("click", () => {
        offer([]);
        press();
      });
      return button;
    }),
  );
}

/** Take a code, however it was given. */
async function take(text) {
  const code = text.replace(/[\r\n]+$/, "");
  if (!code.trim()) return say("bad", said("No code"), said("Scan it, or type it first."));
  const token = standing.action === "find" ? "" : tokenIn(code);
  if (token && !(await knows(token))) {
    return say(
      "bad",
      said("A label too new for this device"),
      said("Without a network it can't tell of what it is. Choose the place or bag by hand. Nothing was counted."),
    );
  }
  const label = standing.find(token);
  return label && sets(label.kind) ? stand(label) : keep(code);
}

/**
 * Whether it can be told of what our label is. A bag's label taken for a thing would leave the bag before it standing, and all that
 * follows would be counted there. With a network, the server says so of a label that is none of ours.
 */
async function knows(token) {
  const known = () => standing.find(token) !== null || standing.isLot(token);
  return known() || (navigator.onLine && (await renew().catch(() => false))) || known();
}

/** Fetch the page's lists anew; whether that went well. */
async function renew() {
  const response = await fetch(dataset.page, { signal: AbortSignal.timeout?.(3000) });
  if (!response.ok || response.redirected) return false;
  standing.replace(new DOMParser().parseFromString(await response.text(), "text/html"));
  return true;
}

/** Whether scanning a label sets what stands. A bag is itself put away. */
function sets(kind) {
  return !(standing.action === "put" && kind === "bag");
}

function stand(label) {
  standing.set(label);
  const what = label.kind === "place" ? said("Place") : said("Bag");
  say("set", `${what} ${label.text}`, said("It stands until you scan or choose another."));
}

async function keep(code) {
  const quantity = form.elements.quantity.value.trim();
  if (quantity && !/^\d*\.?\d+$/.test(quantity)) {
    return say("bad", said("The quantity doesn't read"), said("Write it in digits, such as 12 or 0.5. Nothing was counted."));
  }
  form.elements.quantity.value = "";
  return store({ code, action: standing.action, ...standing.now, quantity });
}

/** Keep a scan, then send it. What is blank is left out of it. */
async function store(asked) {
  const given = Object.fromEntries(Object.entries(asked).filter(([, value]) => value !== ""));
  const scan = { uuid: uuid(), at: new Date().toISOString(), ...given };
  try {
    await outbox.add({ uuid: scan.uuid, scan, ...owner });
  } catch (error) {
    const why = said("This browser did not store the scan (%(why)s). Nothing was counted.", { why: error?.name ?? error });
    return say("bad", said("Not kept: scan it again"), why);
  }
  last = scan.uuid;
  say("kept", shown(scan.code), navigator.onLine ? said("Kept, and on its way.") : said("Kept on this device. It is sent when there is a network."));
  await refresh();
  sender.poke();
}

async function refresh() {
  const rows = await outbox.all();
  listing.show(rows);
  const row = rows.find((one) => one.uuid === last);
  $("undo").hidden = !row || !(row.state === "waiting" || told(row, dataset).undo);
}

async function answered(row) {
  if (row.uuid === last) {
    const { sign, head, text, links, choices } = told(row, dataset);
    say(sign, head, text, links);
    offer(choices.map(({ text: words, extra }) => [words, () => choose(row, extra)]));
  } else if (row.state !== "done") signal("bad", { sound: $("sound").checked });
  await refresh();
}

/** Send a scan that may have meant several things once more, with the one named; the refused one has served. */
async function choose(row, extra) {
  await outbox.remove(row.uuid);
  const { uuid: _, at: __, ...asked } = row.scan;
  await store({ ...asked, ...extra });
}

/** Undo the last scan: one that waits is taken out, one that was sent is undone where it counted. */
async function undo() {
  const row = await outbox.find(last);
  if (!row) return;
  if (await sender.held(() => outbox.remove(last, ({ state, tried }) => state === "waiting" && !tried))) {
    say("set", said("Undone"), said("%(code)s was not sent and does not count.", { code: shown(row.scan.code) }));
  } else await undoSent();
  await refresh();
}

async function undoSent() {
  const row = await outbox.find(last);
  if (row.state === "waiting") return say("bad", said("Not undone yet"), said("It may have counted: the site did not answer. Undo it once it has."));
  const { ok, problem } = await sender.undo(last, dataset.undo);
  if (!ok) return say("bad", said("Not undone"), problem);
  await outbox.settle(last, "undone", null);
  return say("set", said("Undone"), said("It does not count any more."));
}

function submitted(event) {
  event.preventDefault();
  if (event.submitter?.id === "read-photo") return photo();
  const { code } = form.elements;
  const text = code.value;
  code.value = "";
  return take(text);
}

function useScanner() {
  listen(document, {
    read: take,
    torn: () => say("bad", said("Torn read: scan it again"), said("The keys came too slowly or without Enter at the end. Nothing was counted.")),
  });
}

let decoder = null;
const otherwise = () => said("Take a photo below instead, or use a scanner.");
const decode = (picture) => (decoder ??= new Decoder(dataset.decoder, dataset.vendor)).read(picture);

function useCamera() {
  $("camera").hidden = false;
  if (!Camera.there) {
    $("camera-start").hidden = true;
    return cameraFailed(`${said("Browsers give a page the camera over HTTPS only.")} ${otherwise()}`);
  }
  const camera = new Camera({ video: $("video"), decoder: { read: decode }, found: take, failed: (error) => cameraEnded(camera, String(error)) });
  $("camera-start").addEventListener("click", () => startCamera(camera));
  $("camera-stop").addEventListener("click", () => cameraEnded(camera));
  $("camera-light").addEventListener("click", ({ currentTarget: button }) => {
    const on = button.getAttribute("aria-pressed") !== "true";
    button.setAttribute("aria-pressed", on);
    camera.light(on).catch(() => {});
  });
  document.addEventListener("visibilitychange", () => document.hidden && cameraEnded(camera));
}

async function startCamera(camera) {
  try {
    $("video").hidden = false;
    await camera.start();
  } catch (error) {
    const forbidden = error.name === "NotAllowedError";
    const why = forbidden
      ? said("The browser was told not to give the camera to this page.")
      : said("The camera doesn't start (%(why)s).", { why: error.name });
    return cameraEnded(camera, `${why} ${otherwise()}`);
  }
  $("camera-why").hidden = true;
  $("camera-start").hidden = true;
  $("camera-stop").hidden = false;
  $("camera-light").hidden = !camera.hasLight;
}

function cameraEnded(camera, why = "") {
  camera.stop();
  $("video").hidden = true;
  $("camera-start").hidden = false;
  $("camera-stop").hidden = true;
  $("camera-light").hidden = true;
  cameraFailed(why);
}

function cameraFailed(why) {
  $("camera-why").textContent = why;
  $("camera-why").hidden = !why;
}

/** A photo is read by the server; without a network, here. */
async function photo() {
  const { photo: input } = form.elements;
  const [file] = input.files;
  if (!file) return say("bad", said("No photo"), said("Choose or take one first."));
  say("ready", said("Reading the photo"), file.name);
  const found = await sender.decode(file, dataset.decode).catch(() => null);
  const { codes, problem } = found ?? (await here(file));
  input.value = "";
  if (codes.length === 1) return take(codes[0]);
  if (!codes.length) return say("bad", said("No code in the photo"), problem);
  say("ready", said("%(count)s codes in the photo", { count: codes.length }), said("Choose the one that you mean."));
  return offer(codes.map((code) => [shown(code), () => take(code)]));
}

async function here(file) {
  const codes = await decode(file).catch(() => []);
  return { codes: codes.map(({ text }) => text), problem: said("Go closer, hold still, and give it light from the side.") };
}

function showAll() {
  for (const id of ["outbox-state", "result", "outbox"]) $(id).hidden = false;
  $("undo-last")?.remove();
  if (matchMedia("(pointer: fine)").matches) form.elements.code.focus();
}

async function start() {
  outbox = await Outbox.open();
  await outbox.prune();
  listing = new Listing({
    owner,
    addresses: dataset,
    clear: (row) => outbox.remove(row.uuid, ({ state }) => state === row.state).then(refresh),
    retry: (row) => outbox.retry(row.uuid).then(refresh).then(() => sender.poke()),
  });
  sender = new Sender({ outbox, address: dataset.scans, user: owner.user, answered, stopped: (why) => listing.stopped(why) });
  showAll();
  await refresh();
  form.addEventListener("submit", submitted);
  $("undo").addEventListener("click", undo);
  for (const kind of ["pointerdown", "keydown"]) addEventListener(kind, wake, { capture: true, passive: true });
  useScanner();
  useCamera();
  addEventListener("online", () => sender.poke());
  addEventListener("offline", () => listing.stopped("offline"));
  document.addEventListener("visibilitychange", () => document.hidden || sender.poke());
  navigator.storage?.persist?.().catch(() => {});
  leaveCarefully({ signOut: dataset.signOut, waiting: async () => (await outbox.all()).filter((row) => row.state === "waiting") });
  await sender.poke();
}

serve(dataset);
start().catch((error) => {
  $("result").hidden = false;
  const why = said("Its store can't be used (%(why)s): type codes below, each is sent at once.", { why: error?.name ?? error });
  say("bad", said("This browser keeps no scans"), why);
});
