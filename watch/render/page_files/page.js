"use strict";
(function () {
  var body = document.body, root = document.documentElement, said = "";
  var POLL_S = 15, LOST_S = 60;
  var stands = body.dataset.stands === "yes", mark = body.dataset.mark || "";
  var begun = Date.parse(body.dataset.now), offset = 0, heard = Date.now(), closed = false;
  if (mark) { offset = begun - Date.now(); }
  function now() { return stands ? begun : Date.now() + offset; }
  function all(what) { return Array.prototype.slice.call(document.querySelectorAll(what)); }
  function span(ms) {
    var minutes = Math.floor(Math.abs(ms) / 60000), days = Math.floor(minutes / 1440);
    if (days > 1) { return days + " days"; }
    var hours = Math.floor(minutes / 60);
    return hours ? hours + " h " + ("0" + minutes % 60).slice(-2) : minutes + " min";
  }
  function clock(ms) {
    var minutes = Number(document.getElementById("clock").dataset.offset);
    return new Date(ms + minutes * 60000).toISOString().slice(11, 16);
  }
  function tick() {
    var t = now();
    document.getElementById("clock").textContent = clock(t);
    all("[data-until]").forEach(function (e) {
      var left = Date.parse(e.dataset.until) - t, gone = left < -59999;
      e.textContent = gone ? span(left) + " ago" : left < 60000 ? "now" : "in " + span(left);
      e.classList.toggle("gone", left < 60000);
    });
    all("[data-since]").forEach(function (e) { e.textContent = span(t - Date.parse(e.dataset.since)) + " ago"; });
    all("[data-age-from]").forEach(function (e) {
      var hours = Number(e.dataset.ageFrom) + (t - Date.parse(body.dataset.made)) / 3600000;
      e.textContent = Math.floor(hours) + " h old";
    });
    all("[data-call]").forEach(function (e) { e.classList.toggle("due", t >= Date.parse(e.dataset.call)); });
    stale(t);
    paint();
  }
  function stale(t) {
    var words = "", made = Date.parse(body.dataset.made), age = t - made;
    if (closed) { words = "SIGNED OUT. This page is no longer being updated: load it again."; }
    else if (mark && Date.now() - heard > LOST_S * 1000) {
      words = "NO LONGER UPDATED for " + span(Date.now() - heard) + ": the watch does not answer. What stands here is as of " + clock(heard + offset) + ".";
    } else if (body.dataset.next && t - Date.parse(body.dataset.next) > 1800000) {
      words = "NEW ORDERS ARE OVERDUE since " + clock(Date.parse(body.dataset.next)) + ". These were made " + span(age) + " ago.";
    } else if (age > Number(body.dataset.oldHours) * 3600000) { words = "OLD: these orders were made " + span(age) + " ago. Do not lean on them."; }
    else if (age < -600000) { words = "THE CLOCK IS WRONG, or these orders are: they were made " + span(age) + " from now."; }
    var box = document.getElementById("stale");
    if (box.textContent !== words) { box.textContent = words; }
    box.hidden = !words;
    document.title = (words ? "OLD · " : waiting().length ? "CALL · " : "") + "Night orders · " + document.querySelector("h1").textContent;
  }
  function chosen() { try { return localStorage.getItem("colours") || said; } catch (e) { return said; } }
  function paint() {
    var t = now(), dark = body.dataset.darks.split(" ").some(function (d) {
      var ends = d.split("/");
      return ends.length === 2 && t >= Date.parse(ends[0]) && t < Date.parse(ends[1]);
    });
    var want = chosen() || (dark ? "night" : "day"), button = document.getElementById("colours");
    root.dataset.colours = want;
    button.textContent = want === "night" ? "Day" : "Night";
    button.setAttribute("aria-label", button.textContent + " colours");
    button.hidden = false;
  }
  document.getElementById("colours").addEventListener("click", function () {
    said = root.dataset.colours === "night" ? "day" : "night";
    try { localStorage.setItem("colours", said); } catch (e) { /* kept for this page only */ }
    paint();
  });
  function answered(r) {
    if (r.status === 401 || r.status === 403) { closed = true; }
    if (!r.ok) { throw new Error(String(r.status)); }
    return r;
  }
  function poll() {
    fetch("/mark", { cache: "no-store" }).then(answered).then(function (r) { return r.json(); }).then(function (s) {
      offset = Date.parse(s.now) - Date.now(); heard = Date.now(); closed = false;
      all("main .count[data-since]").forEach(function (e) { if (s.checked_at) { e.dataset.since = s.checked_at; } });
      if (s.next_at) { body.dataset.next = s.next_at; }
      if (s.mark !== mark) { return renew(); }
    }).catch(function () { /* said by stale() when it lasts */ }).then(tick);
  }
  function renew() {
    return fetch("/", { cache: "no-store" }).then(answered).then(function (r) { return r.text(); }).then(function (text) {
      var fresh = new DOMParser().parseFromString(text, "text/html"), from = fresh.getElementById("main");
      if (!from) { closed = true; return; }
      var was = waiting(), held = inView();
      become(document.getElementById("main"), from);
      ["made", "darks", "next", "mark"].forEach(function (k) { if (fresh.body.dataset[k]) { body.dataset[k] = fresh.body.dataset[k]; } else { delete body.dataset[k]; } });
      mark = body.dataset.mark;
      tick();
      if (waiting().some(function (k) { return was.indexOf(k) < 0; })) { window.scrollTo(0, 0); }
      else if (held && held.element.isConnected) { window.scrollBy(0, held.element.getBoundingClientRect().top - held.top); }
      document.getElementById("spoken").textContent = "Renewed " + clock(now());
    });
  }
  function waiting() { return all(".alert.awaits").map(function (e) { return e.dataset.key + " " + e.dataset.revision; }); }
  function inView() {
    var first = all("main h2,main h3,main li,main .alert,main summary").filter(function (e) { return e.getBoundingClientRect().top >= 0; })[0];
    return first && window.scrollY > 0 ? { element: first, top: first.getBoundingClientRect().top } : null;
  }
  function like(a, b) {
    if (a.nodeType !== b.nodeType) { return false; }
    return a.nodeType !== 1 || (a.tagName === b.tagName && a.id === b.id && a.dataset.key === b.dataset.key && a.name === b.name);
  }
  /* Makes one element into another and touches only what differs: what is unfolded, focused or looked at stays. */
  function become(old, to) {
    if (old.isEqualNode(to)) { return; }
    if (old.nodeType !== 1) { old.nodeValue = to.nodeValue; return; }
    if (old.tagName === "svg") { old.replaceWith(document.importNode(to, true)); return; }
    Array.prototype.slice.call(old.attributes).forEach(function (t) { if (!to.hasAttribute(t.name) && t.name !== "open") { old.removeAttribute(t.name); } });
    Array.prototype.slice.call(to.attributes).forEach(function (t) { if (old.getAttribute(t.name) !== t.value) { old.setAttribute(t.name, t.value); } });
    var at = old.firstChild;
    Array.prototype.slice.call(to.childNodes).forEach(function (child) {
      var found = at;
      while (found && !like(found, child)) { found = found.nextSibling; }
      if (!found) { old.insertBefore(document.importNode(child, true), at); return; }
      while (at !== found) { var gone = at; at = at.nextSibling; gone.remove(); }
      at = at.nextSibling;
      become(found, child);
    });
    while (at) { var rest = at; at = at.nextSibling; rest.remove(); }
  }
  document.addEventListener("submit", function (event) {
    var form = event.target;
    if (!form.classList.contains("ack")) { return; }
    event.preventDefault();
    var button = form.querySelector("button"), words = document.getElementById("spoken");
    button.disabled = true;
    fetch("/ack", { method: "POST", body: new URLSearchParams(new FormData(form)), headers: { "Accept": "application/json" } }).then(function (r) {
      return r.json().then(function (s) {
        if (!r.ok) { throw new Error(s.error); }
        words.textContent = button.textContent = "Acknowledged";
        renew().catch(function () { /* the next poll brings it */ }).then(tick);
      });
    }).catch(function (e) {
      button.disabled = false;
      button.textContent = "NOT acknowledged: " + (e.message || "the watch does not answer") + ". Press again.";
    }).then(tick);
  });
  tick();
  setInterval(tick, 1000);
  if (mark) { setInterval(poll, POLL_S * 1000); poll(); }
}());
