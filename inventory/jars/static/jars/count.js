// Counting at the shelf: plus and minus count on from what stands in the box, else from what is booked. What was
// counted outlives a reload, on this phone and in this tab alone.
const form = document.querySelector(".count-form");
if (form) {
  const key = `count-${form.dataset.count}`;
  const boxes = [...form.querySelectorAll(".shelf-box")];
  const keep = () => sessionStorage.setItem(key, JSON.stringify(boxes.map((box) => [box.name, box.value])));
  for (const [name, value] of JSON.parse(sessionStorage.getItem(key) || "[]")) {
    const box = form.elements.namedItem(name);
    if (box && !box.value) box.value = value;
  }
  for (const step of form.querySelectorAll(".shelf-step")) {
    step.hidden = false;
    step.addEventListener("click", () => {
      const row = step.closest(".shelf-row");
      const box = row.querySelector(".shelf-box");
      const stands = /^\s*\d+\s*$/.test(box.value) ? Number(box.value) : Number(row.dataset.booked);
      if (box.value.trim() && !/^\s*\d+\s*$/.test(box.value)) return; // "10 dozen" stays as it was typed
      box.value = Math.max(0, stands + Number(step.dataset.step));
      keep();
    });
  }
  form.addEventListener("input", keep);
  form.addEventListener("submit", () => sessionStorage.removeItem(key));
}
