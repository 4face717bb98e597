// The dot that moves along the strokes at the planned arm speed, and the tick to keep pace by. Where
// less motion is wished for, the stroke in turn is marked and the dot does not glide.

const away = ([x, y], [u, v]) => Math.hypot(u - x, v - y);

/** The walk of one set: strokes and the ways between them, with the length up to each. */
export function walkOf(strokes) {
  const legs = [];
  let at = 0;
  strokes.forEach(([from, to], i) => {
    if (i) {
      const gap = away(strokes[i - 1][1], from);
      legs.push({ from: strokes[i - 1][1], to: from, at, length: gap, stroke: i, between: true });
      at += gap;
    }
    const length = away(from, to);
    legs.push({ from, to, at, length, stroke: i, between: false });
    at += length;
  });
  return { legs, length: at };
}

/** Where the pad is after a way along the walk: the place, and the stroke's number. */
export function placeOn(walk, way) {
  if (!walk.length) return null;
  const gone = way % walk.length;
  const leg = walk.legs.findLast((one) => one.at <= gone);
  const share = leg.length ? (gone - leg.at) / leg.length : 0;
  const [x, y] = [0, 1].map((k) => leg.from[k] + share * (leg.to[k] - leg.from[k]));
  return { x, y, stroke: leg.stroke };
}

export class Pace {
  constructor(onstroke) {
    this.onstroke = onstroke;
    this.still = matchMedia("(prefers-reduced-motion: reduce)");
    this.sound = null;
    this.shown = null;
    this.since = null;
    this.stroke = -1;
    this.beat = 0;
    this.frame = null;
  }

  /** Show another section; `speed` in mm/s. */
  show(shown, strokes, speed) {
    this.hide();
    Object.assign(this, { shown, walk: walkOf(strokes), speed, count: strokes.length });
  }

  /** Walk from a moment on (seconds of performance.now()); null stands still. */
  from(since) {
    if (this.since === since) return;
    this.since = since;
    if (since === null || !this.walk?.length) this.hide();
    else this.run();
  }

  hide() {
    clearTimeout(this.frame);
    cancelAnimationFrame(this.frame);
    this.frame = null;
    this.since = null;
    this.mark(-1);
    this.shown?.dot.setAttribute("visibility", "hidden");
  }

  run() {
    clearTimeout(this.frame);
    cancelAnimationFrame(this.frame);
    const step = () => {
      this.step();
      if (this.since === null) return;
      const hidden = document.hidden || this.still.matches;
      this.frame = hidden ? setTimeout(step, 100) : requestAnimationFrame(step);
    };
    step();
  }

  step() {
    const seconds = Math.max(0, performance.now() / 1000 - this.since);
    const place = placeOn(this.walk, seconds * this.speed);
    const { dot } = this.shown;
    dot.setAttribute("visibility", this.still.matches ? "hidden" : "visible");
    dot.setAttribute("transform", `translate(${place.x.toFixed(1)} ${(-place.y).toFixed(1)})`);
    const turned = place.stroke !== this.stroke;
    const beat = Math.floor(seconds);
    if (turned) this.ring(880, 0.09);
    else if (beat !== this.beat) this.ring(440, 0.04);
    this.beat = beat;
    if (turned) this.mark(place.stroke);
  }

  mark(stroke) {
    if (stroke === this.stroke) return;
    this.shown?.strokes[this.stroke]?.classList.remove("in-turn");
    this.shown?.strokes[stroke]?.classList.add("in-turn");
    this.stroke = stroke;
    this.onstroke(stroke, this.count);
  }

  /** A short tone each second, a higher one at each turn; needs a tap first, as browsers want it. */
  listen(on) {
    if (on && !this.sound) this.sound = new AudioContext();
    if (!this.sound) return;
    this.loud = on;
    if (on) this.sound.resume();
    else this.sound.suspend();
  }

  ring(hertz, seconds) {
    if (!this.loud || this.sound.state !== "running") return;
    const [tone, volume, now] = [this.sound.createOscillator(), this.sound.createGain(), this.sound.currentTime];
    tone.frequency.value = hertz;
    volume.gain.setValueAtTime(0.25, now);
    volume.gain.exponentialRampToValueAtTime(0.001, now + seconds);
    tone.connect(volume).connect(this.sound.destination);
    tone.start(now);
    tone.stop(now + seconds);
  }
}
