// What a person hears and feels who looks at the bag and not at the screen.

const SIGNS = {
  good: { tones: [[880, 0, 0.09]], buzz: [40] },
  kept: { tones: [[660, 0, 0.09]], buzz: [40] },
  set: { tones: [[660, 0, 0.06], [990, 0.08, 0.08]], buzz: [30, 40, 30] },
  bad: { tones: [[220, 0, 0.16], [180, 0.2, 0.25]], buzz: [120, 80, 120] },
};
const LOUDNESS = 0.2;

let context = null;

/** Browsers let a page sound only after a touch or a key: call it in one. */
export function wake() {
  context ??= window.AudioContext ? new AudioContext() : null;
  if (context?.state === "suspended") context.resume().catch(() => {});
}

/** Sound and buzz a sign: good, kept, set or bad. */
export function signal(name, { sound = true } = {}) {
  const sign = SIGNS[name];
  navigator.vibrate?.(sign.buzz);
  if (!sound || context?.state !== "running") return;
  for (const [pitch, after, length] of sign.tones) play(pitch, context.currentTime + after, length);
}

function play(pitch, from, length) {
  const tone = context.createOscillator();
  const level = context.createGain();
  tone.frequency.value = pitch;
  level.gain.setValueAtTime(LOUDNESS, from);
  level.gain.exponentialRampToValueAtTime(0.001, from + length); // no click at its end
  tone.connect(level).connect(context.destination);
  tone.start(from);
  tone.stop(from + length);
}
