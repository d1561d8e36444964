"use strict";
// Shows what the server sends and counts on between two events by its own clock. It decides nothing, and
// where the events stop it says so. Nothing on the page can be touched; keys are passed on to the run.

const OLD_AFTER_S = 3; // the server sends at least once a second
const RENEW_MS = 1000; // a stream that the browser has given up is opened again
const SOON_S = 300, NOW_S = 60; // as the spoken warnings: 5 minutes and 1 minute

const LOOKS = {
  "rinse call": ["square", "RINSE CALL"],
  warning: ["triangle", "WARNING"],
  caution: ["diamond", "CAUTION"],
};
const TITLES = { ready: "Getting ready", call: "RINSE NOW", rinsing: "Rinsing", aid: "First aid", away: "Lid on, bowl away", halted: "Stopped, waiting", ended: "The run is over" };

const at = (id) => document.getElementById(id);
let news = null; // the last event
let heardAt = 0; // and when it came, in ms of performance.now(): a stepped wall clock changes nothing
let drawn = ""; // what was laid out last

// -- what is shown -------------------------------------------------------------------

function time(seconds) {
  const whole = Math.max(0, Math.floor(seconds));
  const two = (n) => String(n).padStart(2, "0");
  const hours = Math.floor(whole / 3600), minutes = Math.floor(whole / 60) % 60;
  return hours ? `${hours}:${two(minutes)}:${two(whole % 60)}` : `${minutes}:${two(whole % 60)}`;
}

function put(id, text) {
  const node = at(id);
  if (node.textContent !== text) node.textContent = text;
}

function made(tag, className, text) {
  const node = document.createElement(tag);
  node.className = className;
  node.textContent = text;
  return node;
}

function showClocks() {
  if (news === null) {
    at("old").hidden = performance.now() < OLD_AFTER_S * 1000;
    return;
  }
  const passed = news.age_s + (performance.now() - heardAt) / 1000;
  const old = passed > OLD_AFTER_S && !["ready", "ended"].includes(news.stand);
  const cream = news.cream_on_s === null ? null : news.cream_on_s + passed;
  const left = news.call_in_s === null ? null : news.call_in_s - passed;
  const called = news.called_s === null ? (left !== null && left <= 0 ? -left : null) : news.called_s + passed;
  const stand = called === null ? news.stand : "call"; // the call is due even where nobody says so any more

  document.body.dataset.stand = stand;
  at("old").hidden = !old;
  document.body.toggleAttribute("data-stale", old && news.stand !== "call");
  put("title", TITLES[stand] ?? news.title);
  document.body.toggleAttribute("data-clocks", cream !== null || called !== null);
  digits("cream", cream);
  digits("call", called ?? left);
  put("call-label", called === null ? "Rinse call in" : "Since call");
  const near = called !== null || left === null || left > SOON_S ? "far" : left > NOW_S ? "soon" : "now";
  at("call").dataset.near = near;
  at("call").querySelector(".shape").className = "shape " + { far: "none", soon: "diamond", now: "triangle" }[near];
  at("bar").hidden = cream === null || left === null;
  const share = (cream ?? 0) / Math.max(1, (cream ?? 0) + Math.max(0, left ?? 0));
  at("used").style.transform = `scaleX(${share.toFixed(4)})`;
  document.title = left === null ? at("title").textContent : `${time(left)} to the rinse call`;
  fitWhenChanged(`${stand} ${old} ${near} ${cream === null} ${left === null} ${time(cream ?? 0).length} ${time(left ?? 0).length}`);
}

function digits(which, seconds) {
  at(which).hidden = seconds === null;
  const text = seconds === null ? "" : time(seconds);
  put(`${which}-digits`, text);
  at(`${which}-digits`).className = text.length > 5 ? "digits hours" : "digits";
}

function showWords() {
  const step = news.steps ? `Step ${news.number} of ${news.steps}` : "";
  put("step", news.rehearsal ? `Rehearsal. ${step}` : step);
  put("cream-label", `${news.what[0].toUpperCase()}${news.what.slice(1)} on`);
  put("zone-name", news.zone);
  at("answers").replaceChildren(...news.answers.map((answer) => made("span", "", `\u201c${answer}\u201d`)));
  showSaid("alert", news.alert);
  showSaid("said", news.said);
  const heard = news.heard;
  put("heard", heard === null ? "" : `Heard: ${heard.words ? `\u201c${heard.words}\u201d` : "no words"}, ${heard.became}`);
  put("forecast", news.forecast ? `Forecast: ${news.forecast}` : "");
  put("stop", news.stop ? `Stop: \u201c${news.stop}\u201d` : "");
}

function showSaid(id, said) {
  const box = at(id);
  box.hidden = said === null;
  if (said === null) return;
  box.dataset.level = said.level;
  const [shape, word] = LOOKS[said.level] ?? ["", ""];
  box.replaceChildren(...said.lines.map((line, n) => {
    const whole = made("p", "", "");
    if (word && n === 0) {
      const mark = made("span", "word", "");
      mark.append(made("span", `shape ${shape}`, ""), word);
      whole.append(mark);
    }
    whole.append(word && n === 0 ? line.replace(/^(caution|warning)[.:] /i, "") : line); // the mark says it
    return whole;
  }));
}

// -- nothing is cut off --------------------------------------------------------------

// What to try, the roomiest first: sizes of the last words and of the clock's digits, and whether the foot stays.
// The digits are far above what must be read from across the room, so they give way before the words do. In a
// rinse call, which may bring first aid, the foot goes before the words get smaller than asked for.
const ROOMY = [
  ...[2, 1.8, 1.6, 1.5, 1.4, 1.3, 1.2, 1.1, 1].map((words) => [words, 1, true]),
  ...[0.9, 0.8, 0.7, 0.6].map((clock) => [1, clock, true]),
];
const SMALL = [[0.9, 0.8, true], ...[0.9, 0.8, 0.7, 0.6].map((words) => [words, 0.6, true])];
const BARE = [1, 0.9, 0.8, 0.7, 0.6].map((words) => [words, 0.6, false]);
const TIGHTER = { call: [...ROOMY, ...BARE], work: [...ROOMY, ...SMALL, ...BARE] };

function overflows() {
  const main = document.querySelector("main"), words = at("words");
  return words.scrollHeight > words.clientHeight + 1 || main.scrollHeight > main.clientHeight + 1
    || document.documentElement.scrollWidth > window.innerWidth || main.scrollWidth > main.clientWidth + 1;
}

function fitWhenChanged(clocks) {
  const { age_s, cream_on_s, call_in_s, called_s, ...rest } = news;
  const now = `${clocks} ${innerWidth} ${innerHeight} ${JSON.stringify(rest)}`;
  if (now !== drawn) fit();
  drawn = now;
}

function fit() {
  const style = document.documentElement.style;
  const screenPx = Math.hypot(screen.width, screen.height);
  style.setProperty("--diagonal", `max(${screenPx}px, hypot(100vw, 100vh))`);
  for (let all = 100; all >= 20; all -= 5) {
    for (const [words, clock, foot] of TIGHTER[document.body.dataset.stand] ?? TIGHTER.work) {
      style.setProperty("--all", all / 100);
      style.setProperty("--words", words);
      style.setProperty("--clock", clock);
      document.body.toggleAttribute("data-full", !foot);
      if (!overflows()) return;
    }
  }
}

// -- the stream ----------------------------------------------------------------------

// A screen that goes dark shows nothing. Browsers let go of this whenever the page is hidden, so it is asked for again.
let awake = null;

async function stayAwake() {
  if (document.visibilityState !== "visible" || !navigator.wakeLock || awake?.released === false || news?.stand === "ended") return;
  awake = await navigator.wakeLock.request("screen").catch(() => null);
}

stayAwake();
addEventListener("visibilitychange", stayAwake);

let source = null;

function listen() {
  if (news?.stand === "ended" || (source !== null && source.readyState !== EventSource.CLOSED)) return;
  source = new EventSource("events");
  source.onmessage = (event) => {
    news = JSON.parse(event.data);
    heardAt = performance.now();
    showWords();
    showClocks();
    if (news.stand === "ended") {
      source.close();
      awake?.release();
    }
  };
}

listen();
setInterval(listen, RENEW_MS);
setInterval(showClocks, 100);
addEventListener("resize", showClocks);

// The pedal types into whichever window is in front, and that may be this one. Escape is the browser's, and so
// are the keys that make the sound louder: none of them may answer a question.
const OURS = /^(.|Enter|Arrow.+|Page(Up|Down)|Home|End|Insert|Delete|Backspace|F1[3-9]|F2[0-4])$/u;

addEventListener("keydown", (event) => {
  if (event.repeat || event.ctrlKey || event.altKey || event.metaKey || !OURS.test(event.key)) return;
  event.preventDefault();
  fetch("key", { method: "POST", body: event.key }).catch(() => {});
});
