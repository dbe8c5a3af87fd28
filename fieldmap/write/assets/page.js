/* What a reader does with the page: layers on and off, rows to the map, sifting, printing. */
"use strict";

function fieldmapShow(id) {
  var map = fieldmapState.map;
  var held = fieldmapState.layers[id];
  if (!held) { return; }
  Object.keys(fieldmapState.groups).forEach(function (key) {
    if (fieldmapState.groups[key].hasLayer(held.layer)) { fieldmapTick(key); }
  });
  map.getContainer().scrollIntoView({ block: "center" });
  if (held.at) { map.setView(held.at, Math.max(map.getZoom(), 17), { animate: false }); }
  else { map.fitBounds(held.layer.getBounds(), { padding: [60, 60], maxZoom: 18, animate: false }); }
  held.layer.openPopup(held.at || held.layer.getBounds().getCenter());
  document.getElementById("said").textContent = "Shown on the map: " + fieldmapState.said[id];
}

function fieldmapTick(key) {
  var box = document.querySelector('[data-layer="' + key + '"]');
  if (box && !box.checked) { box.checked = true; box.dispatchEvent(new Event("change")); }
}

function fieldmapSwitch(box, layer) {
  box.addEventListener("change", function () {
    if (box.checked) { layer.addTo(fieldmapState.map); } else { layer.remove(); }
    fieldmapLegends();
  });
}

function fieldmapLegends() {
  document.querySelectorAll("[data-legend]").forEach(function (list) {
    list.hidden = !document.querySelector('[data-image="' + list.dataset.legend + '"]').checked;
  });
}

function fieldmapSift(box) {
  var table = document.getElementById(box.dataset.sift);
  var rows = Array.from(table.tBodies[0].rows).filter(function (row) { return row.dataset.level; });
  var words = null;
  var find = box.querySelector("input[type=search]");
  var ticks = Array.from(box.querySelectorAll("input[type=checkbox]"));
  function sift() {
    words = words || rows.map(function (row) { return row.textContent.toLowerCase(); });
    var wanted = find.value.trim().toLowerCase();
    var levels = ticks.filter(function (tick) { return tick.checked; }).map(function (tick) { return tick.value; });
    var left = 0;
    rows.forEach(function (row, at) {
      var stays = (!ticks.length || levels.includes(row.dataset.level)) && words[at].includes(wanted);
      row.hidden = !stays;
      left += stays ? 1 : 0;
    });
    box.querySelector(".sift-count").textContent = left + " of " + rows.length + " shown";
  }
  var waiting = 0;
  find.addEventListener("input", function () { clearTimeout(waiting); waiting = setTimeout(sift, 120); });
  ticks.forEach(function (tick) { tick.addEventListener("change", sift); });
}

/* On paper the map has one size; its view is fitted before and put back after. */
function fieldmapPaperView() {
  var map = fieldmapState.map;
  var before = null;
  window.addEventListener("beforeprint", function () {
    document.documentElement.classList.add("printing");
    if (map) {
      before = { centre: map.getCenter(), zoom: map.getZoom() };
      map.closePopup();
      map.invalidateSize({ animate: false, pan: false });
      fieldmapFit(map);
    }
    document.querySelectorAll("details:not([open])").forEach(function (held) {
      if (held.closest("tr")) { return; }
      held.dataset.opened = "1"; held.open = true;
    });
  });
  window.addEventListener("afterprint", function () {
    document.documentElement.classList.remove("printing");
    if (map) { map.invalidateSize({ animate: false, pan: false }); }
    if (before) { map.setView(before.centre, before.zoom, { animate: false }); }
    document.querySelectorAll("details[data-opened]").forEach(function (held) { held.open = false; delete held.dataset.opened; });
  });
}

function fieldmapOnMap(map) {
  map.on("focus", function () { map.scrollWheelZoom.enable(); });
  map.on("blur", function () { map.scrollWheelZoom.disable(); });
  document.querySelectorAll("[data-layer]").forEach(function (box) { fieldmapSwitch(box, fieldmapState.groups[box.dataset.layer]); });
  document.querySelectorAll("[data-image]").forEach(function (box) { fieldmapSwitch(box, fieldmapState.images[Number(box.dataset.image)]); });
  document.addEventListener("click", function (event) {
    var button = event.target.closest("[data-show]");
    if (button) { fieldmapShow(button.dataset.show); }
  });
  document.getElementById("whole").addEventListener("click", function () { map.closePopup(); fieldmapFit(map); });
}

/* A page of tables alone has no map. */
document.addEventListener("DOMContentLoaded", function () {
  if (fieldmapState.map) { fieldmapOnMap(fieldmapState.map); }
  document.querySelectorAll("[data-sift]").forEach(fieldmapSift);
  document.getElementById("print").addEventListener("click", function () { window.print(); });
  fieldmapLegends();
  fieldmapPaperView();
});
