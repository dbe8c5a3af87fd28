/* Notes of what was measured: kept on this page until they are saved as a CSV file. Words
   reach the page through textContent only; nothing is sent anywhere. */
"use strict";

var fieldmapNotes = { rows: [], saved: true };

function fieldmapCell(text) {
  return /[",\r\n]/.test(text) ? '"' + text.replace(/"/g, '""') + '"' : text;
}

function fieldmapCsv(columns, rows) {
  var lines = [columns.join(",")].concat(rows.map(function (row) {
    return columns.map(function (key) { return fieldmapCell(row[key]); }).join(",");
  }));
  return lines.join("\n") + "\n";
}

/* What is wrong with a note, as a sentence and the field it is about; null for one that holds. */
function fieldmapWrong(row, units, at) {
  if (!row.place) { return ["place", "Choose a place."]; }
  if (!row.kind) { return ["kind", "Choose what was measured."]; }
  if (at.indexOf(row.place.split("/")[0]) < 0) { return ["kind", "That is not noted for such a place: choose another place, or another kind."]; }
  if (units && !/^\d+(\.\d+)?$/.test(row.value)) { return ["value", "Write a plain figure such as 4.2, with a point and without a unit."]; }
  if (units && !(Number(row.value) > 0)) { return ["value", "Write a figure above 0."]; }
  if (!units && row.value !== "yes" && row.value !== "no") { return ["answer", "Choose yes or no."]; }
  if (!row.who.trim()) { return ["who", "Write who measured it."]; }
  if (/^[=+\-@\t\r]/.test(row.who.trim())) { return ["who", "Begin the name with a letter."]; }
  if (!/^\d{4}-\d{2}-\d{2}$/.test(row.when)) { return ["when", "Choose the day it was measured."]; }
  if (row.when > fieldmapToday()) { return ["when", "That day has not come yet."]; }
  return null;
}

function fieldmapToday() {
  var now = new Date();
  var two = function (number) { return String(number).padStart(2, "0"); };
  return now.getFullYear() + "-" + two(now.getMonth() + 1) + "-" + two(now.getDate());
}

function fieldmapNoteForm(form) {
  var part = function (name) { return form.querySelector('[data-note="' + name + '"]'); };
  var say = function (text) { document.getElementById("note-said").textContent = text; };
  var chosen = function () { var held = part("kind").selectedOptions[0]; return held ? held.dataset : {}; };

  function fit() {
    var units = (chosen().units || "").split(" ").filter(Boolean);
    var figure = units.length > 0;
    form.querySelectorAll("[data-figure]").forEach(function (box) { box.hidden = !figure; });
    form.querySelectorAll("[data-answer]").forEach(function (box) { box.hidden = figure || !part("kind").value; });
    var unit = part("unit");
    unit.replaceChildren.apply(unit, units.map(function (name) {
      var made = document.createElement("option");
      made.value = name;
      made.textContent = name;
      return made;
    }));
  }

  function pick() {
    var held = part("place").selectedOptions[0];
    if (held && held.dataset.kind) { part("kind").value = held.dataset.kind; }
    document.getElementById("note-beat").textContent = held && held.dataset.beat ? held.dataset.beat : "";
    fit();
  }

  function note() {
    var figure = Boolean(chosen().units);
    var row = {
      place: part("place").value, kind: part("kind").value,
      value: figure ? part("value").value.trim() : part("answer").value,
      unit: figure ? part("unit").value : "", who: part("who").value.trim(), when: part("when").value,
      machine: chosen().machine === "yes" ? form.dataset.machine : ""
    };
    var wrong = fieldmapWrong(row, figure, (chosen().at || "").split(" "));
    form.querySelectorAll("[aria-invalid]").forEach(function (held) { held.removeAttribute("aria-invalid"); });
    if (wrong) {
      part(wrong[0]).setAttribute("aria-invalid", "true");
      part(wrong[0]).focus();
      say(wrong[1]);
      return;
    }
    fieldmapNotes.rows.push(row);
    fieldmapNotes.saved = false;
    part("value").value = "";
    list();
    say("Noted: " + row.place + ", " + row.kind + " " + row.value + " " + row.unit + ". " + fieldmapNotes.rows.length + " to save.");
  }

  function list() {
    var body = document.getElementById("note-rows");
    body.replaceChildren.apply(body, fieldmapNotes.rows.map(function (row, at) {
      var line = document.createElement("li");
      var words = document.createElement("span");
      words.textContent = row.place + ": " + row.kind + " " + row.value + (row.unit ? " " + row.unit : "") + ", " + row.who + ", " + row.when;
      var off = document.createElement("button");
      off.type = "button";
      off.className = "plain";
      off.textContent = "Take off";
      off.setAttribute("aria-label", "Take off " + words.textContent);
      off.addEventListener("click", function () { fieldmapNotes.rows.splice(at, 1); fieldmapNotes.saved = !fieldmapNotes.rows.length; list(); say("Taken off."); part("place").focus(); });
      line.append(words, off);
      return line;
    }));
  }

  function save() {
    if (!fieldmapNotes.rows.length) { say("Nothing is noted yet."); return; }
    var text = fieldmapCsv(form.dataset.columns.split(","), fieldmapNotes.rows);
    var link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([text], { type: "text/csv" }));
    link.download = form.dataset.file;
    link.click();
    setTimeout(function () { URL.revokeObjectURL(link.href); }, 1000);
    fieldmapNotes.saved = true;
    say("Saved as " + form.dataset.file + ": " + fieldmapNotes.rows.length + " in it.");
  }

  form.addEventListener("submit", function (event) { event.preventDefault(); note(); });
  part("place").addEventListener("change", pick);
  part("kind").addEventListener("change", fit);
  part("when").value = fieldmapToday();
  part("when").max = fieldmapToday();
  document.getElementById("note-save").addEventListener("click", save);
  pick();
  list();
}

window.addEventListener("beforeunload", function (event) { if (!fieldmapNotes.saved) { event.preventDefault(); } });
document.addEventListener("DOMContentLoaded", function () {
  var form = document.getElementById("note-form");
  if (form) { form.hidden = false; fieldmapNoteForm(form); }
});
