/* Draws the page's JSON block on the map. A person's words reach the screen through
   textContent only; nothing here builds markup from text. */
"use strict";

var fieldmapState = { layers: {}, groups: {}, images: [], walks: [], home: null, map: null, said: {} };

var fieldmapInk = { stop: "#4b1d4a", care: "#8a5200", unknown: "#3f4c58", ok: "#a98f3c" };
var fieldmapPaper = "#fffdf7";

function fieldmapElement(tag, className, text) {
  var made = document.createElement(tag);
  if (className) { made.className = className; }
  if (text !== undefined) { made.textContent = text; }
  return made;
}

function fieldmapGlyph(level) {
  var space = "http://www.w3.org/2000/svg";
  var made = document.createElementNS(space, "svg");
  var use = document.createElementNS(space, "use");
  [["class", "glyph"], ["aria-hidden", "true"], ["width", "22"], ["height", "22"], ["viewBox", "0 0 22 22"]]
    .forEach(function (pair) { made.setAttribute(pair[0], pair[1]); });
  use.setAttribute("href", "#glyph-" + level);
  made.appendChild(use);
  return made;
}

/* The hatch and the dots, for outlines of their own (a reference) and for a canvas (a tile). */
function fieldmapFill(level, many) {
  var names = { unknown: "hatch-unknown", care: "dots-care" };
  if (!names[level]) { return level === "stop" ? fieldmapInk.stop : "#efe3b4"; }
  if (!many) { return "url(#" + names[level] + ")"; }
  var tile = document.createElement("canvas");
  tile.width = tile.height = level === "unknown" ? 12 : 10;
  var ink = tile.getContext("2d");
  if (level === "unknown") { fieldmapHatchTile(ink); } else { fieldmapDotTile(ink); }
  return ink.createPattern(tile, "repeat");
}

function fieldmapHatchTile(ink) {
  ink.fillStyle = "rgba(255, 253, 247, 0.55)";
  ink.fillRect(0, 0, 12, 12);
  ink.strokeStyle = fieldmapInk.unknown;
  ink.lineWidth = 3;
  ink.beginPath();
  [-12, 0, 12].forEach(function (x) { ink.moveTo(x - 1, 13); ink.lineTo(x + 13, -1); });
  ink.stroke();
}

function fieldmapDotTile(ink) {
  ink.fillStyle = "rgba(243, 223, 178, 0.6)";
  ink.fillRect(0, 0, 10, 10);
  ink.fillStyle = fieldmapInk.care;
  [[2.5, 2.5], [7.5, 7.5]].forEach(function (at) {
    ink.beginPath();
    ink.arc(at[0], at[1], 1.7, 0, 2 * Math.PI);
    ink.fill();
  });
}

function fieldmapAreaStyles(many) {
  var styles = {};
  ["stop", "care", "unknown", "ok"].forEach(function (level) {
    styles[level] = {
      color: fieldmapInk[level], weight: many ? 1.2 : (level === "ok" ? 3 : 2.5), opacity: 1,
      dashArray: level === "unknown" ? (many ? "4 3" : "7 5") : null,
      fillColor: fieldmapFill(level, many),
      fillOpacity: { stop: 0.62, care: 1, unknown: 1, ok: 0.18 }[level]
    };
  });
  return styles;
}

/* The note that opens on an item. */
function fieldmapNote(item) {
  var box = fieldmapElement("div", "note-box");
  box.appendChild(fieldmapElement("p", "note-title", (item.n ? item.n + ". " : "") + item.title));
  if (item.word) {
    var level = fieldmapElement("p", "level level-" + item.level);
    level.appendChild(fieldmapGlyph(item.level));
    level.appendChild(fieldmapElement("span", "", item.word));
    box.appendChild(level);
  }
  item.lines.forEach(function (line) {
    var row = fieldmapElement("p", "note-line");
    row.appendChild(fieldmapElement("b", "", line[0] + ": "));
    row.appendChild(fieldmapElement("span", "", line[1]));
    box.appendChild(row);
  });
  var back = fieldmapElement("button", "plain", "Back to its row");
  back.type = "button";
  back.addEventListener("click", function () { fieldmapBack(item.id); });
  box.appendChild(back);
  return box;
}

function fieldmapBack(id) {
  var button = document.querySelector('[data-show="' + id + '"]');
  if (!button) { return; }
  button.closest("tr").hidden = false;
  if (button.closest("details")) { button.closest("details").open = true; }
  button.focus({ preventScroll: true });
  button.closest("tr").scrollIntoView({ block: "center" });
}

function fieldmapKeep(item, layer, at) {
  fieldmapState.layers[item.id] = { layer: layer, at: at };
  fieldmapState.said[item.id] = (item.n ? item.n + ", " : "") + item.title + (item.word ? ": " + item.word : "");
  layer.bindPopup(function () { return fieldmapNote(item); }, { maxWidth: 290, minWidth: 210, autoPanPadding: [24, 24] });
}

function fieldmapPin(item, at, pane, kind) {
  var shape = fieldmapElement("span", "pin pin-" + (kind || item.level));
  shape.appendChild(fieldmapElement("b", "", item.n));
  var icon = L.divIcon({ className: "pin-hold", html: shape, iconSize: [44, 44] });
  return L.marker(at, { icon: icon, pane: pane, keyboard: false });
}

function fieldmapMiddle(layer) {
  return layer.getLatLng ? layer.getLatLng() : layer.getBounds().getCenter();
}

function fieldmapShape(item, options) {
  return L.geoJSON(item.geometry, {
    style: function () { return options; },
    pointToLayer: function (feature, at) { return L.circleMarker(at, options); }
  });
}

/* One drawing hand for each way of drawing a group. */
var fieldmapHands = {
  area: function (item, to, look) {
    var made = fieldmapShape(item, Object.assign({ renderer: look.renderer, pane: look.pane }, look.areas[item.level]));
    to.addLayer(made);
    fieldmapKeep(item, made, null);
    if (look.named) { fieldmapName(item, made); }
  },
  mark: function (item, to, look) {
    var point = item.geometry.type === "Point";
    var at = fieldmapMiddle(fieldmapShape(item, {}).getLayers()[0]);
    var style = Object.assign({ renderer: look.renderer, pane: look.pane }, look.areas[item.level]);
    if (!point) {
      to.addLayer(fieldmapShape(item, { renderer: look.renderer, pane: look.pane, color: fieldmapPaper, weight: 8, fill: false, interactive: false }));
      to.addLayer(fieldmapShape(item, Object.assign(style, { weight: 4 })));
    } else if (item.radius_m) {
      to.addLayer(L.circle(at, { radius: item.radius_m, renderer: look.renderer, pane: look.pane, color: fieldmapInk[item.level], weight: 1.5, dashArray: "2 4", fill: false, interactive: false }));
    }
    var pin = look.many && point
      ? L.circleMarker(at, Object.assign({ radius: 9 }, style))
      : fieldmapPin(item, at, look.pins);
    to.addLayer(pin);
    fieldmapKeep(item, pin, at);
  },
  gate: function (item, to, look) {
    var at = fieldmapMiddle(fieldmapShape(item, {}).getLayers()[0]);
    var pin = fieldmapPin(item, at, look.pins, item.n ? "gate" : "gate pin-bare");
    to.addLayer(pin);
    fieldmapKeep(item, pin, at);
  },
  leg: function (item, to, look) {
    var dash = { unknown: "4 8", care: "16 6" }[item.level] || null;
    var base = { renderer: look.renderer, pane: look.pane, lineCap: "butt" };
    to.addLayer(fieldmapShape(item, Object.assign({ color: fieldmapPaper, weight: 11, interactive: false }, base)));
    var line = fieldmapShape(item, Object.assign({ color: fieldmapInk[item.level], weight: item.level === "ok" ? 4 : 7, dashArray: dash }, base));
    to.addLayer(line);
    fieldmapKeep(item, line, null);
    if (item.level !== "ok" && !look.many) {
      var first = line.getLayers()[0];
      var pin = fieldmapPin(item, fieldmapHalfway(first), look.pins);
      to.addLayer(pin);
      pin.on("click", function () { line.openPopup(pin.getLatLng()); });
    }
  },
  direct: function (item, to, look) {
    to.addLayer(fieldmapShape(item, { renderer: look.renderer, pane: look.pane, color: fieldmapInk.stop, weight: 4, dashArray: "0.5 9", interactive: false }));
  },
  track: function (item, to, look) {
    to.addLayer(fieldmapShape(item, { renderer: look.renderer, pane: look.pane, color: "#2f5563", weight: 2.5, dashArray: "1 5", fill: false, interactive: false }));
  },
  outline: function (item, to, look) {
    to.addLayer(fieldmapShape(item, { renderer: look.renderer, pane: look.pane, color: fieldmapPaper, weight: 6, fill: false, interactive: false }));
    to.addLayer(fieldmapShape(item, { renderer: look.renderer, pane: look.pane, color: "#26211b", weight: 2.5, fill: false, interactive: false }));
  },
  road: function (item, to, look) {
    to.addLayer(fieldmapShape(item, { renderer: look.renderer, pane: look.pane, color: "#6d6353", weight: look.thin ? 1.4 : 6, fill: false, interactive: false }));
    if (look.thin) { return; }
    to.addLayer(fieldmapShape(item, { renderer: look.renderer, pane: look.pane, color: fieldmapPaper, weight: 3.5, fill: false, interactive: false }));
  }
};

fieldmapHands.survey = fieldmapHands.mark;
fieldmapHands.start = fieldmapHands.gate;

/* A search: fields that name themselves, ground that is only drawn, and walks. */
fieldmapHands.plot = function (item, to, look) {
  to.addLayer(fieldmapShape(item, { renderer: look.renderer, pane: look.pane, color: fieldmapPaper, weight: 5, fill: false, interactive: false }));
  var line = fieldmapShape(item, { renderer: look.renderer, pane: look.pane, color: "#26211b", weight: 2, fill: true, fillColor: fieldmapPaper, fillOpacity: 0 });
  to.addLayer(line);
  fieldmapKeep(item, line, null);
  if (look.named) { fieldmapName(item, line); }
};
fieldmapHands.ground = function (item, to, look) {
  to.addLayer(fieldmapShape(item, Object.assign({ renderer: look.renderer, pane: look.pane }, look.areas[item.level], { weight: 1, dashArray: null, interactive: false })));
};
fieldmapHands.keep = function (item, to, look) {
  to.addLayer(fieldmapShape(item, { renderer: look.renderer, pane: look.pane, color: fieldmapInk.stop, weight: 2, fillColor: fieldmapInk.stop, fillOpacity: 0.45, interactive: false }));
};

/* Where the lines of a walk would be too close to be drawn a few of them stand for all, or none. */
fieldmapHands.walk = function (item, to, look) {
  var dash = ["11 5", "2 5", "14 4 2 4", "6 3"][(item.walker - 1) % 4];
  var style = { renderer: look.renderer, pane: look.pane, color: "#3b2a66", weight: 2.2, dashArray: dash, lineCap: "butt", fill: false, interactive: false };
  var under = Object.assign({}, style, { color: fieldmapPaper, weight: 4.5, dashArray: null });
  function drawn(geometry) {
    return L.featureGroup([fieldmapShape({ geometry: geometry }, under), fieldmapShape({ geometry: geometry }, style)]);
  }
  var whole = drawn(item.geometry);
  var part = item.sketch ? drawn(item.sketch) : null;
  to.addLayer(whole);
  if (item.spacing_m) { fieldmapState.walks.push({ to: to, whole: whole, part: part, spacing_m: item.spacing_m, sketch_m: item.sketch_m }); }
  if (item.several) {
    var pin = fieldmapPin(item, fieldmapHalfway(whole.getLayers()[1].getLayers()[0]), look.pins, "gate");
    pin.options.interactive = false;
    to.addLayer(pin);
  }
};

function fieldmapWalks(map) {
  var pixels = 256 * Math.pow(2, map.getZoom()) / (40075017 * Math.cos(map.getCenter().lat * Math.PI / 180));
  fieldmapState.walks.forEach(function (one) {
    var fits = one.spacing_m * pixels >= (one.gap || 8);
    if (fits) { one.to.addLayer(one.whole); } else { one.to.removeLayer(one.whole); }
    if (!one.part) { return; }
    if (!fits && one.sketch_m * pixels >= (one.gap || 8)) { one.to.addLayer(one.part); } else { one.to.removeLayer(one.part); }
  });
}

function fieldmapName(item, layer) {
  layer.bindTooltip(fieldmapElement("span", "", item.title), { permanent: true, direction: "center", className: "name-tag", pane: "names", opacity: 1 });
}

function fieldmapHalfway(line) {
  var along = line.getLatLngs ? line.getLatLngs() : [line.getLatLng()];
  while (Array.isArray(along[0])) { along = along[0]; }
  var whole = 0, walked = 0, at, step;
  for (at = 1; at < along.length; at += 1) { whole += along[at - 1].distanceTo(along[at]); }
  for (at = 1; at < along.length; at += 1) {
    step = along[at - 1].distanceTo(along[at]);
    if (step > 0 && walked + step >= whole / 2) {
      var part = (whole / 2 - walked) / step;
      return L.latLng(
        along[at - 1].lat + part * (along[at].lat - along[at - 1].lat),
        along[at - 1].lng + part * (along[at].lng - along[at - 1].lng)
      );
    }
    walked += step;
  }
  return along[0];
}

/* Each group has its own pane, so that hiding and showing again keeps the order. */
function fieldmapLook(map, group, place, many) {
  var canvas = many && ["area", "mark", "ground", "keep", "plot"].includes(group.draw);
  var pane = canvas ? "overlayPane" : "group-" + group.key;
  if (!canvas) {
    map.createPane(pane).style.zIndex = group.draw === "road" ? 320 : 410 + place;
    if (group.draw === "road") { map.getPane(pane).style.pointerEvents = "none"; }
  }
  return {
    pane: pane, pins: "pins", many: canvas, areas: fieldmapAreaStyles(canvas),
    named: group.key === "fields" && group.items.length <= 30,
    thin: group.draw === "road" && group.items.length > 900,
    renderer: canvas ? fieldmapState.canvas : (group.draw === "road" ? L.canvas({ pane: pane }) : L.svg({ pane: pane }))
  };
}

function fieldmapImages(map, images) {
  map.createPane("ground").style.zIndex = 250;
  fieldmapState.images = images.map(function (image) {
    var plain = image.legend.length === 0;
    return L.imageOverlay(image.src, image.bounds, { pane: "ground", opacity: plain ? 0.75 : 0.8, interactive: false, className: plain ? "relief" : "classes" });
  });
  images.forEach(function (image, at) { if (image.shown) { fieldmapState.images[at].addTo(map); } });
}

function fieldmapHome(groups, images) {
  var home = L.latLngBounds([]);
  [true, false].forEach(function (wanted) {
    if (home.isValid()) { return; }
    groups.forEach(function (group) {
      if (group.home !== wanted || (!wanted && group.draw === "road")) { return; }
      var held = fieldmapState.groups[group.key].getLayers();
      held.forEach(function (layer) { if (layer instanceof L.Circle) { return; } home.extend(layer.getBounds ? layer.getBounds() : layer.getLatLng()); });
    });
  });
  if (!home.isValid()) { images.forEach(function (image) { home.extend(image.bounds); }); }
  return home;
}

function fieldmapFit(map) {
  if (fieldmapState.home.isValid()) { map.fitBounds(fieldmapState.home, { padding: [34, 34], maxZoom: 19, animate: false }); }
}

/* A name stands on its field only where the field is wide enough to carry it. */
function fieldmapNames(map) {
  Object.keys(fieldmapState.layers).forEach(function (id) {
    var layer = fieldmapState.layers[id].layer;
    var tag = layer.getTooltip && layer.getTooltip() && layer.getTooltip().getElement();
    if (!tag) { return; }
    var bounds = layer.getBounds();
    var wide = map.latLngToLayerPoint(bounds.getNorthEast()).x - map.latLngToLayerPoint(bounds.getSouthWest()).x;
    tag.style.visibility = tag.offsetWidth <= wide + 8 ? "visible" : "hidden";
  });
}

/* Where the marks stand too close to be read they become small, and name themselves on a click.
   A place to look at gives way to marks by itself. */
function fieldmapCrowd(map) {
  var spots = Array.prototype.map.call(map.getPane("pins").querySelectorAll(".pin-hold"), function (pin) {
    return { pin: pin, at: L.DomUtil.getPosition(pin), look: pin.querySelector(".pin-first") !== null };
  });
  if (spots.length < 2 || spots.length > 600) { return; }
  function near(one, others) {
    return others.some(function (other) { return other !== one && one.at.distanceTo(other.at) < 22; });
  }
  var marks = spots.filter(function (one) { return !one.look; });
  var close = marks.filter(function (one) { return near(one, marks); }).length;
  map.getContainer().classList.toggle("crowded", close > 0 && close > marks.length / 3);
  spots.forEach(function (one) { one.pin.classList.toggle("pin-near", one.look && near(one, spots)); });
}

function fieldmapDraw(map) {
  var data = JSON.parse(document.getElementById("page-data").textContent);
  var count = data.groups.reduce(function (sum, group) { return sum + group.items.length; }, 0);
  map.options.maxZoom = 21;
  map.options.minZoom = 4;
  map.createPane("names").style.zIndex = 590;
  map.createPane("pins").style.zIndex = 600;
  fieldmapState.map = map;
  fieldmapState.canvas = L.canvas({ padding: 0.3 });
  fieldmapImages(map, data.images);
  data.groups.forEach(function (group, place) {
    var look = fieldmapLook(map, group, place, map.options.preferCanvas);
    var layer = fieldmapState.groups[group.key] = L.featureGroup();
    group.items.forEach(function (item) { fieldmapHands[group.draw](item, layer, look); });
  });
  fieldmapState.home = fieldmapHome(data.groups, data.images);
  if (count === 0 || !fieldmapState.home.isValid()) {
    map.getContainer().appendChild(fieldmapElement("p", "map-none", "Nothing here has a place on the map."));
  }
  fieldmapFit(map);
  data.groups.forEach(function (group) { if (group.ticked) { fieldmapState.groups[group.key].addTo(map); } });
  fieldmapNames(map);
  fieldmapCrowd(map);
  fieldmapWalks(map);
  map.on("zoomend", function () { fieldmapWalks(map); });
  map.on("zoomend resize layeradd", function () { fieldmapNames(map); });
  map.on("zoomend resize", function () { fieldmapCrowd(map); });
  L.control.scale({ metric: data.units === "metric", imperial: data.units === "us", maxWidth: 140, position: "bottomright" }).addTo(map);
}
