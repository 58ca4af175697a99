// Fields that look things up in the register: a list beneath, arrow keys and Enter to choose (ARIA 1.2 combobox).
import { ask, later } from "./common.js";

let list = null, field = null, at = -1;

function close() {
  list?.remove();
  field?.setAttribute("aria-expanded", "false");
  field?.removeAttribute("aria-activedescendant");
  list = null;
  at = -1;
}

function mark(place) {
  const options = [...list.children];
  at = (place + options.length) % options.length;
  options.forEach((each, number) => each.setAttribute("aria-selected", String(number === at)));
  field.setAttribute("aria-activedescendant", options[at].id);
  options[at].scrollIntoView({ block: "nearest" });
}

function choose(option) {
  const form = field.form, table = field.dataset.lookUp;
  if (table === "customer" || table === "site" || form.querySelector('button[value="add"]')) {
    fill(form, table, option);
  } else {
    // The row settles more than this field: the desk takes it over whole.
    const choice = document.createElement("input");
    Object.assign(choice, { type: "hidden", name: "choice", value: option.dataset.value });
    const action = document.createElement("button");
    Object.assign(action, { name: "action", value: "choose", hidden: true });
    form.append(choice, action);
    close();
    form.requestSubmit(action);
  }
}

function fill(form, table, option) {
  const set = (name, value) => { const input = form.elements[name]; if (input && value) input.value = value; };
  if (table === "part") {
    set("f.part_number", option.dataset.value);
    set("f.description", option.dataset.more);
  } else field.value = option.dataset.value;
  field.dispatchEvent(new Event("change", { bubbles: true }));
  field.focus();
  close();
}

function dress(input) {
  for (const [name, value] of [["role", "combobox"], ["aria-autocomplete", "list"], ["aria-expanded", "false"], ["aria-controls", "options"]]) input.setAttribute(name, value);
}

const look = later(120, async (input) => {
  const text = input.value.trim();
  if (!text || document.activeElement !== input) return close();
  const found = await ask(`/api/register/${input.dataset.lookUp}?text=${encodeURIComponent(text.slice(0, 200))}`).catch(() => []);
  if (document.activeElement !== input || input.value.trim() !== text) return;
  close();
  if (!found.length) return;
  field = input;
  dress(input);
  list = document.createElement("ul");
  Object.assign(list, { className: "options", id: "options" });
  list.setAttribute("role", "listbox");
  list.setAttribute("aria-label", "In the register");
  found.forEach((each, number) => {
    const option = document.createElement("li");
    option.id = `option-${number}`;
    option.setAttribute("role", "option");
    option.setAttribute("aria-selected", "false");
    Object.assign(option.dataset, { value: each.value, more: each.more });
    const value = document.createElement("span");
    value.className = input.classList.contains("code") || input.dataset.lookUp === "part" ? "code" : "";
    value.textContent = `${each.value} `;
    option.append(value, each.more);
    list.append(option);
  });
  input.after(list);
  input.setAttribute("aria-expanded", "true");
});

document.addEventListener("input", (event) => { if (event.target.dataset?.lookUp) look(event.target); });
document.addEventListener("focusin", (event) => {
  if (event.target.dataset?.lookUp) dress(event.target);
  else if (list && !list.contains(event.target)) close();
});
document.addEventListener("pointerdown", (event) => {
  const option = event.target.closest?.(".options li");
  if (option) { event.preventDefault(); choose(option); } else if (list && event.target !== field) close();
});
document.addEventListener("keydown", (event) => {
  if (!list || event.target !== field) return;
  if (event.key === "ArrowDown") mark(at + 1);
  else if (event.key === "ArrowUp") mark(at < 0 ? list.children.length - 1 : at - 1);
  else if (event.key === "Enter" && at >= 0) choose(list.children[at]);
  else if (event.key === "Escape") close();
  else return;
  event.preventDefault();
  event.stopPropagation();
}, true);
