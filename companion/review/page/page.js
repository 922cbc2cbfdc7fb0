"use strict";
(() => {
  for (const drawn of document.querySelectorAll(".wide svg")) {
    const mark = drawn.querySelector(".fault, .line-name"), place = drawn.parentElement;
    if (!mark) continue;
    const from = drawn.getBoundingClientRect(), at = mark.getBoundingClientRect();
    place.scrollLeft = at.left - from.left - place.clientWidth / 2;
  }

  let playing = null;
  const byId = (id) => document.getElementById(id);

  function show(button, on) {
    button.textContent = on ? "■" : "▶";
    button.classList.toggle("on", on);
    button.setAttribute("aria-pressed", String(on));
  }

  function stop() {
    if (!playing) return;
    playing.sound.pause();
    playing.sound.currentTime = 0;
    show(playing.button, false);
    playing = null;
  }

  for (const button of document.querySelectorAll("button.play")) {
    button.setAttribute("aria-pressed", "false");
    button.addEventListener("click", () => {
      const mine = playing && playing.button === button;
      stop();
      if (mine) return;
      const sound = byId("sound-" + button.dataset.seq);
      playing = { button, sound };
      show(button, true);
      sound.onended = stop;
      sound.play().catch(() => {
        stop();
        byId("news").textContent = "This browser can't play the sound carried here.";
      });
    });
  }

  const mended = [];
  const dialog = byId("mend");
  let about = null;

  function list() {
    const place = byId("mended");
    place.replaceChildren();
    for (const [index, entry] of mended.entries()) {
      const item = document.createElement("li");
      const words = entry.kind === "remark"
        ? "Remark: " + entry.text
        : "Line " + entry.about + ": " + entry.heard + " was " + entry.meant;
      item.append(words + (entry.by ? " – " + entry.by : "") + " ");
      const drop = document.createElement("button");
      drop.type = "button";
      drop.textContent = "Remove";
      drop.setAttribute("aria-label", "Remove: " + words);
      drop.addEventListener("click", () => { mended.splice(index, 1); list(); byId("save").focus(); });
      item.append(drop);
      place.append(item);
    }
    if (!mended.length) {
      const none = document.createElement("li");
      none.className = "none";
      none.textContent = "Nothing yet.";
      place.append(none);
    }
    byId("save").disabled = !mended.length;
  }

  for (const button of document.querySelectorAll("button.mend")) {
    button.addEventListener("click", () => {
      about = Number(button.dataset.seq);
      const which = byId("which");
      which.replaceChildren();
      for (const [index, word] of JSON.parse(button.dataset.words).entries()) {
        which.append(new Option((index + 1) + ". " + word, String(index)));
        which.lastChild.dataset.heard = word;
      }
      byId("meant").value = "";
      dialog.showModal();
      which.focus();
    });
  }

  byId("keep").addEventListener("click", () => {
    const which = byId("which"), meant = byId("meant").value.trim();
    if (!meant) { byId("meant").focus(); return; }
    mended.push({
      kind: "word_corrected", about, word: Number(which.value),
      heard: which.selectedOptions[0].dataset.heard, meant, by: byId("by").value.trim(),
    });
    dialog.close();
    list();
    byId("news").textContent = "Kept on this page. It is not on record until you append the file.";
  });
  byId("leave").addEventListener("click", () => dialog.close());
  byId("meant").addEventListener("keydown", (event) => { if (event.key === "Enter") byId("keep").click(); });

  byId("add-remark").addEventListener("click", () => {
    const text = byId("remark").value.trim();
    if (!text) return;
    mended.push({ kind: "remark", about: null, text, by: byId("by").value.trim() });
    byId("remark").value = "";
    list();
    byId("news").textContent = "Kept on this page. It is not on record until you append the file.";
  });

  byId("save").addEventListener("click", () => {
    const lines = mended.map((entry) => JSON.stringify(entry) + "\n").join("");
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([lines], { type: "application/x-ndjson" }));
    link.download = "corrections-" + document.body.dataset.call + ".jsonl";
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
    byId("news").textContent = "Saved as " + link.download + ".";
  });

  window.addEventListener("beforeunload", (event) => {
    if (mended.length && !byId("news").textContent.startsWith("Saved")) event.preventDefault();
  });
})();
