// Signatures drawn: strokes of points, kept as numbers in the form.
import "./common.js";

for (const pad of document.querySelectorAll(".pad")) {
  const canvas = pad.querySelector("canvas"), pen = canvas.getContext("2d"), into = document.getElementById(pad.dataset.into);
  let strokes = [], drawing = false;
  try { strokes = JSON.parse(into.value || "[]"); } catch { strokes = []; }

  const paint = () => {
    pen.clearRect(0, 0, canvas.width, canvas.height);
    Object.assign(pen, { lineWidth: 5, lineCap: "round", lineJoin: "round", strokeStyle: "#15191c" });
    for (const stroke of strokes) {
      pen.beginPath();
      stroke.forEach(([x, y], at) => (at ? pen.lineTo(x, y) : pen.moveTo(x, y)));
      if (stroke.length === 1) pen.lineTo(stroke[0][0] + 0.1, stroke[0][1]);
      pen.stroke();
    }
  };
  const place = (event) => {
    const box = canvas.getBoundingClientRect();
    return [Math.round(((event.clientX - box.left) / box.width) * canvas.width), Math.round(((event.clientY - box.top) / box.height) * canvas.height)];
  };
  const keep = () => { into.value = strokes.length ? JSON.stringify(strokes) : ""; };

  canvas.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    canvas.setPointerCapture(event.pointerId);
    drawing = true;
    strokes.push([place(event)]);
    paint();
  });
  canvas.addEventListener("pointermove", (event) => {
    if (!drawing) return;
    for (const each of event.getCoalescedEvents?.() ?? [event]) strokes.at(-1).push(place(each));
    paint();
  });
  for (const kind of ["pointerup", "pointercancel"]) canvas.addEventListener(kind, () => { drawing = false; keep(); });
  pad.querySelector("[data-clear]").addEventListener("click", () => { strokes = []; keep(); paint(); });
  paint();
}

// The sheets take a second or two to set: a second press must not sign a second time.
document.getElementById("sign").addEventListener("submit", () => {
  const button = document.getElementById("do-sign");
  setTimeout(() => { button.disabled = true; button.textContent = "Signing…"; });
});
