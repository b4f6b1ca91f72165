"use strict";

// Plays the song of this page. What sounds when, and how, is in the element "song-sound";
// sheet_sound.py says what stands there. Each element with the attribute data-section, a JSON list
// of labels of sections, gets buttons below its heading. Elements inside it with data-bars, first
// and last bar as printed under the first of its labels, are marked while they sound; what is
// played several times has first and last bar of each time.

const SONG = JSON.parse(document.getElementById("song-sound").textContent);
const FIXED = SONG.fixed;
const AHEAD = 1.2; // seconds handed over in advance: a hidden page goes on once a second only
const TICK = 60; // milliseconds after which a page that is seen goes on
const LATE = 0.05; // seconds by which a note may be late
const LINEAR = 0.8; // of the highest peak, up to which the sum of all parts is left as it is

// Sound ---------------------------------------------------------------------------------------

/** The samples of a tone: partials that die away, multiples of the first. */
function toneSamples([hertz, strengths, decays, attack], seconds, rate) {
  const wave = new Float32Array(Math.ceil(seconds * rate));
  strengths.forEach((strength, index) => {
    const turn = (2 * Math.PI * hertz * (index + 1)) / rate;
    const fall = Math.exp(-decays[index] / rate);
    const across = fall * Math.cos(turn), along = fall * Math.sin(turn);
    let real = strength, imaginary = 0;
    for (let at = 0; at < wave.length; at++) {
      wave[at] += imaginary;
      const before = real;
      real = real * across - imaginary * along;
      imaginary = before * along + imaginary * across;
    }
  });
  for (let at = 0; at < Math.min(attack * rate, wave.length); at++) wave[at] *= at / (attack * rate);
  return wave;
}

/** The samples of a stroke without a pitch: noise that dies away, the same each time. */
function knockSamples(rate) {
  const { seconds, decay, strength } = FIXED.knock;
  let seed = 1;
  return Float32Array.from({ length: Math.ceil(seconds * rate) }, (_, at) => {
    let sum = -6; // twelve even numbers are nearly normal
    for (let count = 0; count < 12; count++) {
      seed = (seed * 16807) % 2147483647;
      sum += seed / 2147483647;
    }
    return sum * strength * Math.exp(-at / (decay * rate));
  });
}

/** Return a function that gives the buffer of a tone, made once and anew only to be longer. */
function bufferMaker(context) {
  const made = new Map();
  return (name, tone, seconds) => {
    let buffer = made.get(name);
    if (!buffer || buffer.duration < seconds) {
      const rate = context.sampleRate;
      const samples = tone ? toneSamples(tone, Math.ceil(seconds), rate) : knockSamples(rate);
      buffer = context.createBuffer(1, samples.length, rate);
      buffer.copyToChannel(samples, 0);
      made.set(name, buffer);
    }
    return buffer;
  };
}

/** Return a node that follows a curve from -1 to 1. */
function curveNode(context, curve) {
  const points = 4097;
  const shape = (index) => curve((2 * index) / (points - 1) - 1);
  return new WaveShaperNode(context, {
    curve: Float32Array.from({ length: points }, (_, index) => shape(index)),
  });
}

/** The curve that lets nothing be louder than the highest peak. */
function guard(level) {
  const straight = LINEAR * FIXED.peak, room = FIXED.peak - straight;
  const over = Math.abs(level) - straight;
  return over <= 0 ? level : Math.sign(level) * (straight + room * Math.tanh(over / room));
}

/** Connect the nodes in a row; return the first. */
function inRow(...nodes) {
  nodes.reduce((before, after) => before.connect(after));
  return nodes[0];
}

/** What the notes of a bus go through: its drive, then its echo. */
function busInto(context, { drive, delay, peak }, slower, target) {
  const output = new GainNode(context);
  output.connect(target);
  FIXED.echoes.forEach((strength, index) => {
    const seconds = delay * slower * (index + 1);
    if (!delay) return;
    const late = new DelayNode(context, { delayTime: seconds, maxDelayTime: seconds + 1 });
    inRow(output, late, new GainNode(context, { gain: strength }), target);
  });
  if (!drive) return output;
  const [gain, bias] = drive;
  const curve = (level) => Math.tanh(gain * level + bias) - Math.tanh(bias);
  const loudest = Math.max(curve(1), -curve(-1));
  const shaper = curveNode(context, curve);
  shaper.oversample = "2x";
  return inRow(
    new GainNode(context, { gain: 1 / peak }),
    shaper,
    new BiquadFilterNode(context, { type: "lowpass", frequency: FIXED.cabinet, Q: 0 }),
    new GainNode(context, { gain: peak / loudest }),
    output,
  );
}

/** Return a band on a context that strikes notes and clicks, until it is silenced. */
function makeBand(context, bufferOf, slower) {
  const all = new GainNode(context, { gain: SONG.volume });
  const guarding = curveNode(context, guard);
  const output = new GainNode(context);
  inRow(all, guarding, output, context.destination);
  const parts = SONG.parts.map(({ volume, side }) => {
    const open = new GainNode(context);
    inRow(open, new GainNode(context, { gain: volume }), new StereoPannerNode(context, { pan: side }), all);
    return open;
  });
  const buses = new Map();
  const busOf = (number) => {
    if (!buses.has(number)) {
      const bus = SONG.buses[number];
      buses.set(number, busInto(context, bus, slower, parts[bus.part]));
    }
    return buses.get(number);
  };
  const sound = (buffer, when, seconds, volume, target) => {
    const source = new AudioBufferSourceNode(context, { buffer });
    const fading = new GainNode(context, { gain: volume });
    const end = when + Math.min(seconds, buffer.duration);
    fading.gain.setValueAtTime(volume, Math.max(when, end - FIXED.release));
    fading.gain.linearRampToValueAtTime(0, end);
    inRow(source, fading, target);
    source.start(when);
    source.stop(end);
  };
  return {
    strike({ tone, bus, seconds }, when) {
      const buffer = bufferOf(tone, SONG.tones[tone], seconds);
      sound(buffer, when, seconds, 1, busOf(bus));
    },
    click(accent, when) {
      const { seconds, volume } = FIXED.click;
      const buffer = bufferOf(`click ${accent}`, FIXED.clicks[accent ? 1 : 0], seconds);
      sound(buffer, when, seconds, volume, guarding);
    },
    setAlone(isAlone) {
      parts.forEach((open, number) => {
        const gain = isAlone && SONG.parts[number].part !== SONG.own ? 0 : 1;
        open.gain.setTargetAtTime(gain, context.currentTime, 0.01);
      });
    },
    silence() {
      output.gain.setTargetAtTime(0, context.currentTime, 0.01); // at once would be a click
      setTimeout(() => output.disconnect(), 200);
    },
  };
}

/** What sounds in a section, or in the whole song, in order, from its start on, in seconds. */
function passageOf(label, isSlow) {
  const slower = isSlow ? 1 / FIXED.slow : 1;
  const { sections } = SONG;
  const whole = ["", sections[0][1], sections.at(-1)[2], sections[0][3], sections.at(-1)[4]];
  const [, start, end, first, last] = sections.find((each) => each[0] === label) ?? whole;
  const notes = [];
  for (const [onset, length, tone, bus, rings = 0] of SONG.notes) {
    const from = Math.max(onset, start), until = Math.min(onset + length, end);
    if (from >= end - 1e-4 || until <= start + 1e-4) continue;
    const lasts = tone < 0 ? FIXED.knock.seconds : (until - from) * slower + rings;
    const seconds = Math.min(lasts, FIXED.longest) + FIXED.release;
    notes.push({ at: (from - start) * slower, seconds, tone, bus });
  }
  notes.sort((one, other) => one.at - other.at);
  const bars = [];
  for (let bar = first; bar <= last; bar++) {
    bars.push({ bar, at: (SONG.bars[bar - 1][0] - start) * slower });
  }
  const [, wholeBar, beat] = SONG.bars[first - 1].map((seconds) => seconds * slower);
  const counts = [];
  for (let at = 0; at < wholeBar - beat / 9; at += beat) counts.push(at);
  return { label, slower, seconds: (end - start) * slower, notes, bars, counts, before: wholeBar };
}

// The page ------------------------------------------------------------------------------------

const settings = { isAlone: false, isRepeated: false };
const strips = []; // of buttons, one for each section on the page and one for the whole song
let context, bufferOf; // made when something is played for the first time
let playing = null; // what is played now

const labelsOf = (element) => JSON.parse(element.dataset.section);
const ownBuses = new Set(SONG.buses.flatMap(({ part }, number) =>
  SONG.parts[part].part === SONG.own ? [number] : []));

function play(strip, isSlow) {
  stop();
  context ??= new AudioContext();
  bufferOf ??= bufferMaker(context);
  context.resume();
  const passage = passageOf(strip.label(), isSlow);
  const band = makeBand(context, bufferOf, passage.slower);
  band.setAlone(settings.isAlone);
  for (const { at, tone, seconds } of passage.notes) {
    if (at < AHEAD) bufferOf(tone, SONG.tones[tone], seconds); // before time counts
  }
  const starts = context.currentTime + 0.1;
  passage.counts.forEach((at) => band.click(at === 0, starts + at));
  const last = settings.isRepeated ? Infinity : 0;
  const begins = starts + passage.before;
  playing = { strip, isSlow, passage, band, starts, begins, next: 0, round: 0, last };
  playing.timer = setInterval(continuePlaying, TICK);
  continuePlaying();
  showButtons();
}

function stop() {
  if (!playing) return;
  clearInterval(playing.timer);
  playing.band.silence();
  const { strip } = playing;
  playing = null;
  strip.place.textContent = "";
  mark([]);
  showButtons();
}

/** Hand over the notes of the next moments, show where the music is, stop at the end. */
function continuePlaying() {
  const { passage, band, begins, last } = playing;
  const { notes, seconds } = passage;
  while (notes.length) {
    if (playing.next === notes.length) [playing.next, playing.round] = [0, playing.round + 1];
    const note = notes[playing.next];
    const when = begins + playing.round * seconds + note.at;
    if (playing.round > last || when > context.currentTime + AHEAD) break;
    // After a pause of the page, what is overdue would be struck at once.
    if (when > context.currentTime - LATE) band.strike(note, when);
    playing.next++;
  }
  const now = context.currentTime - begins - (context.outputLatency || 0);
  // What was handed over for another round, before it was no longer wanted, is cut off.
  const tail = notes.length && playing.round > last && playing.next > 0 ? 0 : FIXED.tail;
  if (now > (last + 1) * seconds + tail) stop();
  else showPlace(now);
}

function setRepeated(isRepeated) {
  settings.isRepeated = isRepeated;
  if (playing) {
    const { begins, passage, last } = playing;
    const round = Math.max(0, Math.floor((context.currentTime - begins) / passage.seconds));
    if (round <= last) playing.last = isRepeated ? Infinity : round; // else it only dies away
  }
  showButtons();
}

function setAlone(isAlone) {
  settings.isAlone = isAlone;
  playing?.band.setAlone(isAlone);
  showButtons();
}

function showPlace(now) {
  const { passage, strip, starts, begins, last } = playing;
  if (now < 0) {
    const count = passage.counts.filter((at) => at <= now + begins - starts).length;
    strip.place.textContent = `count-in: ${Math.max(count, 1)} of ${passage.counts.length}`;
    return;
  }
  if (now >= (last + 1) * passage.seconds) {
    strip.place.textContent = "";
    mark([]);
    return;
  }
  const { bar } = passage.bars.findLast(({ at }) => at <= (now % passage.seconds) + 1e-3);
  const isOut = settings.isAlone && !passage.notes.some(({ bus }) => ownBuses.has(bus));
  strip.place.textContent = `bar ${bar}${isOut ? ", you lay out" : ""}`;
  mark(elementsOf(bar, strip), strip.isWhole);
}

/** The section on the page in which a bar stands, and what of it shows the bar. */
function elementsOf(bar, strip) {
  const [label, , , first] = SONG.sections.find((each) => each[3] <= bar && bar <= each[4]);
  const here = strips.map(({ section }) => section).filter(Boolean);
  const section = strip.section ?? here.find((each) => labelsOf(each).includes(label));
  if (!section) return [];
  const printed = SONG.sections.find((each) => each[0] === labelsOf(section)[0])[3] + bar - first;
  const inside = [...section.querySelectorAll("[data-bars]")].filter((each) => {
    const bars = each.dataset.bars.split(" ").map(Number);
    return bars.some((from, at) => at % 2 === 0 && from <= printed && printed <= bars[at + 1]);
  });
  return [section, ...inside];
}

let marked = [];

function mark(elements, isFollowed = false) {
  const isNew = elements.at(-1) !== marked.at(-1);
  for (const each of marked) each.classList.toggle("is-sounding", elements.includes(each));
  for (const each of elements) each.classList.add("is-sounding");
  marked = elements;
  if (isFollowed && isNew && elements.length) follow(elements.at(-1));
}

/** Bring what sounds into sight where it is not. */
function follow(element) {
  const { top, bottom } = element.getBoundingClientRect();
  if (top >= 0 && bottom <= innerHeight) return;
  const isCalm = matchMedia("(prefers-reduced-motion: reduce)").matches;
  element.scrollIntoView({ block: "center", behavior: isCalm ? "auto" : "smooth" });
}

// Buttons -------------------------------------------------------------------------------------

function makeStrip(labels, section) {
  const name = labels[0] ?? "the whole song";
  const element = document.createElement("div");
  element.className = "player";
  element.setAttribute("role", "group");
  element.setAttribute("aria-label", `Play ${name}`);
  const place = document.createElement("span");
  place.className = "place";
  const strip = { element, place, section, isWhole: !section, label: () => labels[0], buttons: [] };
  if (labels.length > 1) strip.label = addChoice(strip, labels);
  const isPlayed = (isSlow) => playing?.strip === strip && playing.isSlow === isSlow;
  for (const isSlow of [false, true]) {
    const toggled = () => (isPlayed(isSlow) ? stop() : play(strip, isSlow));
    addButton(strip, isSlow ? "Slow" : "In time", name, toggled, () => isPlayed(isSlow));
  }
  if (ownBuses.size && ownBuses.size < SONG.buses.length) {
    addButton(strip, "With the band", name, () => setAlone(false), () => !settings.isAlone);
    addButton(strip, "Alone", name, () => setAlone(true), () => settings.isAlone);
  }
  addButton(strip, "Repeat", name, () => setRepeated(!settings.isRepeated), () => settings.isRepeated);
  addButton(strip, "Stop", name, stop);
  element.append(place);
  strips.push(strip);
  return element;
}

function addButton(strip, text, name, pressed, isPressed) {
  const button = document.createElement("button");
  button.type = "button";
  button.textContent = text;
  button.setAttribute("aria-label", `${text}: ${name}`);
  button.addEventListener("click", pressed);
  strip.element.append(button);
  strip.buttons.push({ button, isPressed });
}

/** Let one of several sections that are printed as one be chosen; return what gives its label. */
function addChoice(strip, labels) {
  const choice = document.createElement("select");
  choice.setAttribute("aria-label", "Which of them");
  choice.append(...labels.map((label) => new Option(label, label)));
  choice.addEventListener("change", () => playing?.strip === strip && play(strip, playing.isSlow));
  strip.element.append(choice);
  return () => choice.value;
}

function showButtons() {
  for (const { buttons } of strips) {
    for (const { button, isPressed } of buttons) {
      if (isPressed) button.setAttribute("aria-pressed", String(isPressed()));
    }
  }
}

function addStrips() {
  const sections = [...document.querySelectorAll("[data-section]")];
  if (!sections.length || !SONG.notes.length) return;
  const whole = makeStrip([], null);
  const caution = document.createElement("p");
  caution.textContent =
    "Listen to the whole song or to a section. Keep the volume moderate, with headphones above all.";
  whole.prepend(caution);
  sections[0].before(whole);
  for (const section of sections) {
    const strip = makeStrip(labelsOf(section), section);
    const heading = section.querySelector("h1, h2, h3, h4");
    if (heading) heading.after(strip);
    else section.prepend(strip);
  }
  document.addEventListener("keydown", ({ key }) => key === "Escape" && stop());
  showButtons();
}

if (window.AudioContext) addStrips();
