// What became of a scan, in the words of the server's answer.

import { shown } from "./codes.js";
import { said } from "../texts.js";

const PROBLEM = "urn:rivetloft:problem:";
const SIGNS = { done: "good", waiting: "kept", undone: "set" };
const HEADS = { waiting: said("Waiting to be sent"), conflict: said("Older than a correction"), undone: said("Undone") };
const ACTIONS = {
  find: said("find"),
  tally: said("tally"),
  put: said("put"),
  take: said("take"),
  count: said("count"),
  open: said("open"),
  lend: said("lend"),
  return: said("return"),
};

/**
 * What to tell of a scan as the outbox keeps it: { sign, head, text, links, choices, again, undo }.
 *
 * `links` are [words, address]; `choices` what may be meant instead, as { text, extra }; `again` whether the same scan may be sent once
 * more; `undo` whether what it did can be taken back. `addresses` are the page's.
 */
export function told(row, addresses = {}) {
  const body = row.answer ?? {};
  const found = { sign: SIGNS[row.state] ?? "bad", links: links(row, addresses), choices: [], again: false, undo: false };
  if (row.state === "done") return { ...found, head: headOf(row, body), text: body.text ?? "", undo: changed(body) && row.scan.action !== "return" };
  const head = HEADS[row.state] ?? body.title ?? said("Refused");
  return { ...found, head, text: reason(body), choices: choices(body), again: body.type === `${PROBLEM}clock` };
}

/** The thing in large letters, with how much of it; the sentence below says the rest. */
function headOf({ scan }, { item, quantity, unit, bag, place }) {
  if (!item) return bag ?? place ?? shown(scan.code);
  return quantity ? `${quantity} ${unit} ${item}` : item;
}

function reason({ detail, near = [] }) {
  const names = near.map((one) => one.code ?? one);
  return [detail, names.length && said("Written alike: %(names)s.", { names: names.join(", ") })].filter(Boolean).join(" ");
}

function choices({ choices: given = [] }) {
  return given.map(({ lot, lot_code: code, place, bag, quantity, unit }) => ({
    text: [code && said("lot %(code)s", { code }), bag, place, quantity && `${quantity} ${unit}`].filter(Boolean).join(", "),
    extra: Object.fromEntries(Object.entries({ lot, place, bag }).filter(([, value]) => value)),
  }));
}

const changed = ({ movements = [], tally = null }) => movements.length > 0 || tally !== null;

function links({ state, scan }, { code }) {
  if (!code) return [];
  const address = `${code}?code=${encodeURIComponent(scan.code)}`;
  if (state === "unknown") return [[said("Teach this code"), address]];
  return state === "done" && scan.action === "find" ? [[said("All about it"), address]] : [];
}

/** What was asked, in one line: "tally 12 in CRATE-7/7A at 14:03". */
export function asked({ action, quantity, bag, place, at }) {
  const where = action === "tally" ? bag : place || bag;
  const time = new Date(at).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
  return [ACTIONS[action] ?? action, quantity, where && said("in %(where)s", { where }), said("at %(time)s", { time })].filter(Boolean).join(" ");
}
