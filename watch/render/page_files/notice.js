"use strict";
(function () {
  var mark = document.body.dataset.mark, heard = Date.now();
  function lost() {
    var minutes = Math.floor((Date.now() - heard) / 60000), box = document.getElementById("stale");
    var words = minutes < 1 ? "" : "NO LONGER UPDATED for " + minutes + " min: the watch does not answer.";
    if (box.textContent !== words) { box.textContent = words; }
    box.hidden = !words;
  }
  setInterval(function () {
    fetch("/mark", { cache: "no-store" }).then(function (r) {
      if (!r.ok) { throw new Error(String(r.status)); }
      return r.json();
    }).then(function (s) {
      heard = Date.now();
      if (s.mark !== mark) { location.reload(); }
    }).catch(function () { /* said by lost() when it lasts */ }).then(lost);
  }, 15000);
}());
