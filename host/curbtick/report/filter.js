"use strict";
// Narrows the fleet's table as one types; without a script the whole table stands.
(function () {
  const text = document.getElementById("find");
  const state = document.getElementById("state");
  const said = document.getElementById("shown");
  const rows = Array.from(document.querySelectorAll("#fleet tbody tr"));
  function narrow() {
    const words = text.value.toLowerCase().split(/\s+/).filter(Boolean);
    let shown = 0;
    for (const row of rows) {
      const fits = words.every((word) => row.dataset.find.includes(word)) &&
        (!state.value || row.dataset.state === state.value);
      row.hidden = !fits;
      shown += fits ? 1 : 0;
    }
    said.textContent = shown + " of " + rows.length + " vehicles shown";
  }
  document.getElementById("filter").hidden = false;
  text.addEventListener("input", narrow);
  state.addEventListener("change", narrow);
  narrow();
})();
