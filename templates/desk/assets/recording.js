// The recording: its waveform, playing a value with half a second around it, the words running along.
import { ask } from "./common.js";

const AROUND = 0.5;
const PLAY = "M2.2 1.2 8.8 5 2.2 8.8Z", PAUSE = "M2 1.2H4.2V8.8H2ZM5.8 1.2H8V8.8H5.8Z";
const player = document.getElementById("player");
const sound = document.getElementById("sound");
const words = document.getElementById("words");
const spans = words ? [...words.querySelectorAll(".w[data-i]")] : [];
const timed = spans.filter((each) => each.dataset.s !== undefined);
let peaks = [], seconds = 0, stopAt = null, shown = null, running = null, pressed = null;

const clock = (at) => `${Math.floor(at / 60)}:${String(Math.floor(at % 60)).padStart(2, "0")}`;

/** Marks the words of a value in the text, and in the waveform. */
export function show(from) {
  for (const each of spans) each.classList.remove("said");
  shown = null;
  if (!from) return draw();
  const { first, last, start, end } = from.dataset;
  if (first !== undefined) {
    const chosen = spans.slice(Number(first), Number(last) + 1);
    for (const each of chosen) each.classList.add("said");
    if (chosen.length) bringIn(chosen[0]);
  }
  if (start !== undefined) shown = [Number(start), Number(end)];
  draw();
}

/** Plays what a value came from, half a second around it. */
export function hear(from) {
  if (!sound || !from || from.dataset.start === undefined) return;
  show(from);
  pressed?.classList.remove("playing");
  pressed = from.classList.contains("hear") ? from : null;
  pressed?.classList.add("playing");
  play(Math.max(0, Number(from.dataset.start) - AROUND), Number(from.dataset.end) + AROUND);
}

function play(from, to = null) {
  sound.currentTime = from;
  stopAt = to;
  // A browser may forbid sound before the first press; then nothing is heard, and Hear stands ready.
  sound.play().catch(() => {});
}

function bringIn(word) {
  const top = word.offsetTop - words.offsetTop;
  if (top < words.scrollTop || top > words.scrollTop + words.clientHeight - 40) words.scrollTop = Math.max(0, top - 50);
}

function draw() {
  const canvas = document.getElementById("wave");
  if (!canvas || !peaks.length) return;
  const wide = (canvas.width = canvas.clientWidth * devicePixelRatio), high = (canvas.height = canvas.clientHeight * devicePixelRatio);
  const pen = canvas.getContext("2d"), step = 3 * devicePixelRatio, columns = Math.floor(wide / step), at = sound.currentTime / seconds;
  if (shown) {
    pen.fillStyle = "#f4c53a";
    const left = (shown[0] / seconds) * wide;
    pen.fillRect(left, 0, Math.max(step, ((shown[1] - shown[0]) / seconds) * wide), high);
  }
  for (let column = 0; column < columns; column += 1) {
    const from = Math.floor((column / columns) * peaks.length), to = Math.max(from + 1, Math.floor(((column + 1) / columns) * peaks.length));
    const level = Math.max(0.02, ...peaks.slice(from, to));
    pen.fillStyle = column / columns <= at ? "#15191c" : "#8b949a";
    pen.fillRect(column * step, (high * (1 - level)) / 2, step * 0.62, high * level);
  }
  pen.fillStyle = "#15191c";
  pen.fillRect(at * wide - devicePixelRatio, 0, 2 * devicePixelRatio, high);
}

function run() {
  if (stopAt !== null && sound.currentTime >= stopAt) {
    sound.pause();
    stopAt = null;
  }
  follow();
  running = sound.paused ? null : requestAnimationFrame(run);
}

function follow() {
  const at = sound.currentTime;
  let now = null;
  for (const each of timed) {
    const here = !sound.paused && at >= Number(each.dataset.s) && at < Number(each.dataset.e);
    each.classList.toggle("now", here);
    if (here) now = each;
  }
  if (now) bringIn(now);
  const seek = document.getElementById("seek");
  seek.value = at;
  seek.setAttribute("aria-valuetext", `${clock(at)} of ${clock(seconds)}`);
  document.getElementById("clock").textContent = clock(at);
  draw();
}

function state() {
  const playing = !sound.paused;
  document.getElementById("play-word").textContent = playing ? "Pause" : "Play";
  document.getElementById("play-sign").setAttribute("d", playing ? PAUSE : PLAY);
  if (!playing) pressed?.classList.remove("playing");
  if (playing && running === null) run();
  if (!playing) follow();
}

export function toggle() {
  stopAt = null;
  if (sound.paused) sound.play().catch(() => {});
  else sound.pause();
}

if (player && sound) {
  sound.removeAttribute("controls");
  document.getElementById("play").addEventListener("click", toggle);
  for (const kind of ["play", "pause", "ended", "seeked"]) sound.addEventListener(kind, state);
  const seek = document.getElementById("seek");
  seek.addEventListener("input", () => { stopAt = null; sound.currentTime = Number(seek.value); });
  const wave = document.getElementById("wave");
  wave.addEventListener("click", (event) => { stopAt = null; sound.currentTime = (event.offsetX / wave.clientWidth) * seconds; });
  words?.addEventListener("click", (event) => {
    const word = event.target.closest(".w[data-s]");
    if (word) play(Math.max(0, Number(word.dataset.s) - 0.05));
  });
  addEventListener("resize", draw);
  ask(player.dataset.waveform).then((data) => {
    ({ peaks, seconds } = data);
    seek.max = seconds;
    draw();
  }).catch((error) => {
    const said = document.createElement("p");
    said.className = "doubt";
    said.textContent = error.message;
    player.replaceChildren(said);
  });
}
