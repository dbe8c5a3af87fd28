/* The lie of a field: headland, runs, drop-offs with the ground to keep, places to look at first. */
"use strict";

fieldmapHands.headland = function (item, to, look) {
  to.addLayer(fieldmapShape(item, { renderer: look.renderer, pane: look.pane, color: "#26211b", weight: 1.4, dashArray: "5 4", fillColor: "#e7d9b8", fillOpacity: 0.55, interactive: false }));
};

/* Runs that would stand too close are drawn as a few, until the map is near enough. */
fieldmapHands.run = function (item, to, look) {
  var base = { renderer: look.renderer, pane: look.pane, fill: false, interactive: false };
  function drawn(geometry) {
    return L.featureGroup([
      fieldmapShape({ geometry: geometry }, Object.assign({ color: fieldmapPaper, weight: 2.6, opacity: 0.7 }, base)),
      fieldmapShape({ geometry: geometry }, Object.assign({ color: "#26211b", weight: 1.1 }, base))
    ]);
  }
  fieldmapState.walks.push({ to: to, whole: drawn(item.geometry), part: drawn(item.sketch), spacing_m: item.spacing_m, sketch_m: item.sketch_m, gap: 5 });
};

fieldmapHands.drop = function (item, to, look) {
  var zone = fieldmapShape(item, { renderer: look.renderer, pane: look.pane, color: fieldmapInk.stop, weight: 1.5, dashArray: "3 4", fillColor: fieldmapInk.stop, fillOpacity: 0.3 });
  to.addLayer(zone);
  [[fieldmapPaper, 6], [fieldmapInk.stop, 3.5]].forEach(function (pair) {
    to.addLayer(fieldmapShape({ geometry: item.crest }, { renderer: look.renderer, pane: look.pane, color: pair[0], weight: pair[1], fill: false, interactive: false }));
  });
  fieldmapKeep(item, zone, null);
};

fieldmapHands.first = function (item, to, look) {
  var line = item.geometry.type.indexOf("LineString") >= 0;
  var base = { renderer: look.renderer, pane: look.pane };
  to.addLayer(fieldmapShape(item, Object.assign({ color: fieldmapPaper, weight: line ? 8 : 4, fill: false, interactive: false }, base)));
  var shape = fieldmapShape(item, Object.assign({ color: "#2f5563", weight: line ? 4.5 : 2.5, dashArray: "9 5", fill: !line, fillColor: fieldmapPaper, fillOpacity: 0.2 }, base));
  to.addLayer(shape);
  fieldmapKeep(item, shape, null);
  var pin = fieldmapPin(item, fieldmapHalfway(shape.getLayers()[0]), look.pins, "first");
  to.addLayer(pin);
  pin.on("click", function () { shape.openPopup(pin.getLatLng()); });
};
