// Two short tones: one high for good, two low for open or short. Resolves when they have sounded, or at once without sound.
let context = null;

function tone(hertz, at, seconds) {
  const oscillator = context.createOscillator();
  const gain = context.createGain();
  oscillator.frequency.value = hertz;
  gain.gain.setValueAtTime(0.15, at);
  gain.gain.exponentialRampToValueAtTime(0.001, at + seconds);
  oscillator.connect(gain).connect(context.destination);
  oscillator.start(at);
  oscillator.stop(at + seconds);
}

export async function sound(good) {
  try {
    context ??= new AudioContext();
    if (context.state !== "running") await Promise.race([context.resume(), new Promise((go) => setTimeout(go, 60))]);
    if (context.state !== "running") return;
    const now = context.currentTime;
    if (good) tone(1320, now, 0.09);
    else {
      tone(330, now, 0.08);
      tone(250, now + 0.09, 0.1);
    }
    await new Promise((go) => setTimeout(go, good ? 90 : 180));
  } catch (error) {
    console.warn("no sound:", error); // a bench without loudspeaker works all the same
  }
}
