// Four short sounds, unlike each other in rhythm and pitch, each made here and played once.

/** Notes of each kind of alarm: start s, length s, pitch Hz at its start and end, wave. */
const TUNES = {
  coming_up: [
    [0, 0.12, 440, 440, "triangle"],
    [0.22, 0.12, 554, 554, "triangle"],
    [0.44, 0.16, 659, 659, "triangle"],
  ],
  on_depth: [[0, 0.7, 880, 880, "triangle"]],
  out_of_plumb: [
    [0, 0.3, 700, 350, "sawtooth"],
    [0.36, 0.3, 350, 700, "sawtooth"],
  ],
  not_believed: [0, 0.1, 0.2, 0.45, 0.55, 0.65].map((at) => [at, 0.05, 1200, 1200, "square"]),
};
const LOUD = 0.5;
let context = null;

/** Whether a sound would be heard. */
export const audible = () => context?.state === "running";

/** Whether this browser can make any. */
export const canSound = () => Boolean(window.AudioContext ?? window.webkitAudioContext);

/** Makes sound possible at the first touch or key, as browsers want it; `done` is called once it is. */
export function unlockAtTouch(done) {
  const unlock = async () => {
    const Context = window.AudioContext ?? window.webkitAudioContext;
    if (!Context || audible()) return;
    try {
      context ??= new Context();
      await context.resume();
    } catch {
      return; // the page goes on saying that sound is off
    }
    if (audible()) done();
  };
  for (const kind of ["pointerdown", "pointerup", "keydown"]) window.addEventListener(kind, unlock, { passive: true });
}

/** Plays the sound of a kind of alarm, once. */
export function sound(kind) {
  if (!audible()) return;
  for (const [at, length, from, to, wave] of TUNES[kind] ?? TUNES.not_believed) {
    const start = context.currentTime + 0.02 + at;
    const note = context.createOscillator();
    const gain = context.createGain();
    note.type = wave;
    note.frequency.setValueAtTime(from, start);
    note.frequency.linearRampToValueAtTime(to, start + length);
    gain.gain.setValueAtTime(0, start);
    gain.gain.linearRampToValueAtTime(LOUD, start + 0.01);
    gain.gain.setValueAtTime(LOUD, start + length - 0.02);
    gain.gain.linearRampToValueAtTime(0, start + length);
    note.connect(gain).connect(context.destination);
    note.start(start);
    note.stop(start + length + 0.02);
  }
}
