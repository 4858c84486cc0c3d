/* Dragging a stop to another crew-day: shows what each day costs while it is carried, and the whole cost
   before anything is done. Without this script the links "Move" do the same. */
"use strict";
(() => {
  const dialog = document.getElementById("move-dialog");
  const days = [...document.querySelectorAll(".crewday")];
  if (!dialog || !days.length || typeof dialog.showModal !== "function") { return; }
  document.querySelectorAll(".with-script").forEach((hint) => { hint.hidden = false; });
  let carried = null;
  let asked = 0;

  const busy = () => document.dispatchEvent(new Event("input"));
  const clear = () => {
    for (const day of days) {
      day.classList.remove("may", "over", "cannot");
      day.querySelector(".price").textContent = "";
    }
  };
  const show = async (site) => {
    const mine = ++asked;
    try {
      const answer = await fetch(`/route/costs/${encodeURIComponent(site)}`);
      if (!answer.ok || mine !== asked || carried !== site) { return; }
      const known = new Map((await answer.json()).costs.map((one) => [`${one.day} ${one.crew}`, one.words]));
      if (mine !== asked || carried !== site) { return; }
      for (const day of days) {
        const words = known.get(`${day.dataset.day} ${day.dataset.crew}`) || "";
        day.querySelector(".price").textContent = words;
        day.classList.add(words === "" ? "cannot" : "may");
      }
    } catch { /* no network: the link "Move" will say so */ }
  };

  for (const stop of document.querySelectorAll(".stop")) {
    stop.draggable = true;
    stop.querySelectorAll("a").forEach((link) => { link.draggable = false; });
    stop.addEventListener("dragstart", (event) => {
      carried = stop.dataset.site;
      event.dataTransfer.effectAllowed = "move";
      event.dataTransfer.setData("text/plain", carried);
      stop.classList.add("dragged");
      busy();
      show(carried);
    });
    stop.addEventListener("dragend", () => { carried = null; stop.classList.remove("dragged"); clear(); });
  }
  for (const day of days) {
    day.addEventListener("dragover", (event) => {
      if (carried === null) { return; }
      event.preventDefault();
      day.classList.add("over");
    });
    day.addEventListener("dragleave", () => { day.classList.remove("over"); });
    day.addEventListener("drop", async (event) => {
      const site = carried;
      if (site === null) { return; }
      event.preventDefault();
      const asking = new URLSearchParams({ to: day.dataset.day, crew: day.dataset.crew });
      const page = `/route/move/${encodeURIComponent(site)}?${asking}`;
      try {
        const answer = await fetch(`${page}&part=cost`);
        if (!answer.ok) { location.href = page; return; }
        dialog.innerHTML = await answer.text();
        dialog.querySelectorAll(".cancel").forEach((link) => {
          link.addEventListener("click", (click) => { click.preventDefault(); dialog.close(); });
        });
        dialog.showModal();
      } catch { location.href = page; }
    });
  }
  dialog.addEventListener("click", (event) => { if (event.target === dialog) { dialog.close(); } });
})();
