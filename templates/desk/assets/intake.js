// Intake: files dropped or chosen go to the desk one by one; their progress comes as server-sent events.
import { token } from "./common.js";

const form = document.getElementById("drop"), input = document.getElementById("file"), trouble = document.getElementById("trouble");
const list = document.getElementById("standings"), nothing = document.getElementById("nothing");
const sending = new Map();
let standings = [], next = 0;

const made = (tag, text = "", more = {}) => Object.assign(document.createElement(tag), { textContent: text, ...more });

function complain(sentence) {
  const box = made("p", sentence, { className: "trouble" });
  box.setAttribute("role", "alert");
  trouble.append(box);
}

async function send(file) {
  const key = (next += 1);
  sending.set(key, file.name);
  paint();
  const body = new FormData();
  body.append("file", file);
  body.append("changed", String(file.lastModified));
  const engineer = document.getElementById("engineer");
  if (engineer) body.append("engineer", engineer.value);
  try {
    const answer = await fetch("/intake", { method: "POST", body, headers: { "x-token": token() } });
    const kind = answer.headers.get("content-type") ?? "";
    const data = kind.includes("json") ? await answer.json() : { error: await answer.text() };
    for (const sentence of data.trouble ?? (data.error ? [data.error] : [])) complain(sentence);
    for (const each of data.taken ?? []) if (!each.new) complain(`${each.file_name} is here already${each.draft ? `, as draft ${each.draft}` : ""}.`);
  } catch {
    complain(`${file.name} did not get through; try again.`);
  }
  sending.delete(key);
  paint();
}

async function take(files) {
  trouble.replaceChildren();
  for (const file of files) await send(file);
  input.value = "";
}

function row(each) {
  const item = made("li", "", { className: each.state });
  item.append(made("p", each.file_name, { className: "name" }));
  if (each.state === "read") {
    item.append(made("a", "Open the draft", { className: "button", href: `/drafts/${each.draft}` }));
  } else if (each.state === "failed") {
    item.append(made("p", each.failure, { className: "why" }));
    const again = made("form", "", { method: "post", action: `/intake/${each.id}/again` });
    again.append(made("input", "", { type: "hidden", name: "token", value: token() }), made("button", "Try again"));
    item.append(again);
  } else if (each.share !== null) {
    const percent = Math.round(each.share * 100), how = made("div", "", { className: "how" });
    const bar = made("progress", "", { max: 100, value: percent });
    bar.setAttribute("aria-label", `${each.file_name}, heard`);
    how.append(made("p", each.state === "waiting" ? `Being heard, ${percent} %` : "Being read"), bar);
    item.append(how);
  } else item.append(made("p", "Waiting"));
  return item;
}

function paint() {
  const coming = [...sending.values()].map((name) => {
    const item = made("li");
    item.append(made("p", name, { className: "name" }), made("p", "Coming in"));
    return item;
  });
  list.replaceChildren(...coming, ...standings.map(row));
  nothing.hidden = list.childElementCount > 0;
}

input.addEventListener("change", () => take([...input.files]));
form.addEventListener("submit", (event) => { event.preventDefault(); take([...input.files]); });
for (const kind of ["dragenter", "dragover"]) form.addEventListener(kind, (event) => { event.preventDefault(); form.classList.add("over"); });
for (const kind of ["dragleave", "drop"]) form.addEventListener(kind, (event) => { event.preventDefault(); form.classList.remove("over"); });
form.addEventListener("drop", (event) => take([...event.dataTransfer.files]));

const events = new EventSource("/intake/progress");
let before = "";
events.addEventListener("message", (event) => {
  if (event.data === before) return;
  before = event.data;
  standings = JSON.parse(event.data);
  paint();
});
addEventListener("pagehide", () => events.close());
