// A draft: each step is asked of the desk, which gives the part of the page that changes; keys for what is done most.
import { ask, later } from "./common.js";
import { hear, show, toggle } from "./recording.js";
import "./lookup.js";

const part = document.getElementById("part");
const draft = document.getElementById("bench").dataset.draft;
const kept = { get: (name, usual) => localStorage.getItem(name) ?? usual, set: (name, value) => localStorage.setItem(name, value) };
let busy = false, ahead = "";

async function swap(path, given = {}, first = false) {
  if (busy) return;
  busy = true;
  part.setAttribute("aria-busy", "true");
  try {
    const answer = await fetch(path, { ...given, headers: { "x-part": "1" }, redirect: "follow" });
    const text = await answer.text();
    if (answer.redirected && new URL(answer.url).pathname === "/log-in") { location.href = answer.url; return; }
    if (!text.includes('class="version"')) { document.open(); document.write(text); document.close(); return; }
    part.innerHTML = text;
    arrived(true);
  } catch {
    say("The desk does not answer. Nothing is lost: what you typed still stands here; try again.");
  } finally {
    busy = false;
    part.removeAttribute("aria-busy");
  }
}

function say(sentence) {
  let box = part.querySelector("#slip-trouble");
  if (!box) {
    box = Object.assign(document.createElement("p"), { id: "slip-trouble", className: "trouble" });
    box.setAttribute("role", "alert");
    part.querySelector("#look").prepend(box);
  }
  box.textContent = sentence;
}

// After each step: the words of what is looked at, played; the focus where the next key is wanted.
function arrived(moved) {
  const focus = part.querySelector("[data-focus]");
  if (focus && (moved || document.activeElement === document.body)) {
    focus.focus({ preventScroll: true });
    if (focus.select) focus.select();
    // What was typed while the form was on its way.
    if (ahead && focus.tagName === "INPUT" && focus.type !== "date") {
      focus.value = ahead;
      focus.dispatchEvent(new Event("input", { bubbles: true }));
    }
  }
  ahead = "";
  const now = part.querySelector("#hear-now") ?? part.querySelector(".edit [data-hear]") ?? part.querySelector(".mark .main[data-first]");
  show(now);
  if (now && moved && kept.get("hear", "yes") === "yes" && part.querySelector("#hear-now")) hear(now);
  part.querySelector(".held.open, .rows li.open, .slip:not(.editing) ~ .none")?.scrollIntoView({ block: "nearest" });
  const split = part.querySelector("#split");
  if (split) split.scrollIntoView({ block: "nearest" });
  const tick = part.querySelector("#keys-on"), sound = part.querySelector("#hear-on");
  if (tick) tick.checked = kept.get("keys", "yes") === "yes";
  if (sound) sound.checked = kept.get("hear", "yes") === "yes";
}

part.addEventListener("click", (event) => {
  const hears = event.target.closest("[data-hear]");
  if (hears) { event.preventDefault(); return hear(hears); }
  const link = event.target.closest("a[data-swap]");
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  swap(link.href.split("#")[0]);
});

part.addEventListener("submit", (event) => {
  const form = event.target.closest("form[data-swap]");
  if (!form) return;
  event.preventDefault();
  const body = new URLSearchParams(new FormData(form, event.submitter));
  swap(form.getAttribute("action"), { method: "POST", body });
});

part.addEventListener("change", (event) => {
  if (event.target.id === "keys-on") kept.set("keys", event.target.checked ? "yes" : "no");
  if (event.target.id === "hear-on") kept.set("hear", event.target.checked ? "yes" : "no");
});

for (const kind of ["pointerover", "focusin"]) {
  part.addEventListener(kind, (event) => {
    const value = event.target.closest?.(".v[data-first], .v[data-start]");
    if (value) show(value);
  });
}

// An impossible value is said so at once.
const check = later(250, async (input) => {
  const box = part.querySelector("#wrong");
  if (!box || !input.isConnected) return;
  const form = new FormData(input.form), adding = input.form.querySelector('button[value="add"]');
  const item = Object.fromEntries([...form].filter(([name]) => name.startsWith("f.")).map(([name, text]) => [name.slice(2), text.slice(0, 4000)]));
  try {
    // What is added is looked at as a whole, since it stands nowhere yet.
    const given = adding ? { pointer: form.get("pointer"), item } : { pointer: input.dataset.pointer, typed: input.value.slice(0, 4000) };
    const { wrong } = await ask(`/api/drafts/${draft}/check`, given);
    if (!input.isConnected) return;
    box.textContent = wrong.join(" ");
    input.setAttribute("aria-invalid", String(wrong.length > 0));
  } catch (error) {
    box.textContent = error.message;
  }
});
for (const kind of ["input", "change"]) part.addEventListener(kind, (event) => { if (event.target.dataset?.pointer) check(event.target); });

document.addEventListener("keydown", (event) => {
  if (event.defaultPrevented || event.altKey) return;
  if (busy) {
    if (event.key !== "Tab") event.preventDefault();
    if (event.key.length === 1 && !event.ctrlKey && !event.metaKey) ahead += event.key;
    return;
  }
  const typing = event.target.closest?.("input:not([type=checkbox]):not([type=range]), textarea, select");
  if (event.key === "Escape") { part.querySelector("[data-cancel]")?.click(); return; }
  if (event.key === "Enter" && event.target.tagName === "TEXTAREA" && !event.shiftKey && part.contains(event.target)) {
    event.preventDefault();
    return event.target.form.requestSubmit(event.target.form.querySelector(".main"));
  }
  if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "z" && !typing) {
    event.preventDefault();
    return part.querySelector(`button[value="${event.shiftKey ? "redo" : "undo"}"]:not(:disabled)`)?.click();
  }
  if (typing || event.ctrlKey || event.metaKey || kept.get("keys", "yes") !== "yes") return;
  const key = event.key.toLowerCase();
  if (key === "p") { event.preventDefault(); return toggle(); }
  if (key === "h" && event.target.matches?.(".v[data-start]")) { event.preventDefault(); return hear(event.target); }
  if (event.key === "Enter" && (event.target === document.body || event.target.id === "main")) return part.querySelector("[data-focus]")?.click();
  const found = part.querySelector(`.slip [data-key="${CSS.escape(key)}"], .tools [data-key="${CSS.escape(key)}"]:not(:disabled)`);
  if (found) { event.preventDefault(); found.click(); }
});

arrived(false);
