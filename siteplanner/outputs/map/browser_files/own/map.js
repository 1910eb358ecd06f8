// Behaviour of the map: order of layers, readout under the pointer, and on the saved page the list of spots,
// the switches of the legend and the night view. Text reaches the screen by textContent only.
function sitePlannerMap(map, config, pictures) {
  "use strict";
  map.attributionControl || L.control.attribution({prefix: false}).addTo(map);

  // what has a higher order stays above, in whatever sequence layers are switched on
  function arrange() {
    var ordered = [];
    map.eachLayer(function (layer) { if (layer.order !== undefined) ordered.push(layer); });
    ordered.sort(function (a, b) { return a.order - b.order; });
    ordered.forEach(function (layer) { layer.bringToFront(); });
  }
  var waiting = false;
  map.on("layeradd", function (event) {
    if (event.layer.order === undefined || waiting) return;
    waiting = true;
    setTimeout(function () { waiting = false; arrange(); }, 0);
  });
  arrange();

  // marks that would lie on one another move apart, a thin line leads each back to its place; labels that find no
  // room are left out until the map is drawn closer
  var RINGS = [0, 26, 38, 52, 68, 86, 106], TURNS = 16;
  function boxes() {
    var frame = map.getContainer().getBoundingClientRect();
    var over = [map.getContainer().querySelectorAll(".leaflet-control"), document.querySelectorAll(".sp-corner")];
    return over.reduce(function (all, some) { return all.concat(Array.prototype.slice.call(some)); }, []).map(function (control) {
      var r = control.getBoundingClientRect();
      return [r.left - frame.left, r.top - frame.top, r.right - frame.left, r.bottom - frame.top];
    }).filter(function (r) { return r[2] > r[0]; });
  }
  function free(box, taken) {
    return taken.every(function (t) { return box[2] <= t[0] || box[0] >= t[2] || box[3] <= t[1] || box[1] >= t[3]; });
  }
  function spread() {
    var size = map.getSize(), taken = boxes(), items = [];
    map.eachLayer(function (layer) {
      var icon = layer._icon, span = icon && icon.querySelector("span");
      if (!span || !icon.classList.contains("sp-icon")) return;
      var hidden = Number(span.dataset.from || 0) > map.getZoom();  // what is drawn from near by only
      icon.style.display = hidden ? "none" : "";
      if (hidden) return;
      var kind = span.classList.contains("sp-mark") ? (span.classList.contains("sp-chosen") ? 1 :
        span.classList.contains("sp-best") ? 2 : /sp-(out|minor)/.test(span.className) ? 4 : 3) :
        span.classList.contains("sp-label") ? 5 : span.classList.contains("sp-step") ? 6 : span.classList.contains("sp-closure") ? 4 : 0;
      items.push({layer: layer, icon: icon, span: span, kind: kind, at: map.latLngToContainerPoint(layer.getLatLng()),
        wide: span.offsetWidth / 2 + 1, high: span.offsetHeight / 2 + 1, number: items.length});
    });
    items.sort(function (a, b) { return a.kind - b.kind || a.number - b.number; });
    items.forEach(function (item) {
      var found = null;
      function fits(dx, dy) {
        var x = item.at.x + dx, y = item.at.y + dy;
        var box = [x - item.wide, y - item.high, x + item.wide, y + item.high];
        if (box[0] < 0 || box[1] < 0 || box[2] > size.x || box[3] > size.y || !free(box, taken)) return false;
        found = {x: dx, y: dy, box: box};
        return true;
      }
      var seen = item.at.x > -40 && item.at.y > -40 && item.at.x < size.x + 40 && item.at.y < size.y + 40;
      if (item.kind === 0 || !seen) fits(0, 0);
      else (item.kind === 6 ? RINGS.slice(0, 3) : RINGS).some(function (ring) {
        for (var n = 0; n < (ring ? TURNS : 1); n++) {
          var turn = 2 * Math.PI * (n % 2 ? -Math.ceil(n / 2) : n / 2) / TURNS;
          if (fits(ring * Math.sin(turn), -ring * Math.cos(turn))) return true;
        }
        return false;
      });
      var lost = !found && item.kind >= 5;
      found = found || {x: 0, y: 0, box: [item.at.x - item.wide, item.at.y - item.high, item.at.x + item.wide,
        item.at.y + item.high]};
      if (!lost) taken.push(found.box);
      item.icon.style.visibility = lost ? "hidden" : "";
      item.span.style.setProperty("--dx", found.x.toFixed(1) + "px");
      item.span.style.setProperty("--dy", found.y.toFixed(1) + "px");
      var line = item.icon.querySelector("i.sp-leader"), far = Math.hypot(found.x, found.y);
      if (far > 1 && !line) {
        line = document.createElement("i");
        line.className = "sp-leader";
        item.icon.insertBefore(line, item.icon.firstChild);
      }
      if (line) {
        line.style.display = far > 1 && item.kind !== 5 ? "" : "none";
        line.style.width = far.toFixed(1) + "px";
        line.style.transform = "rotate(" + Math.atan2(found.y, found.x).toFixed(4) + "rad)";
        taken.push([item.at.x - 3, item.at.y - 3, item.at.x + 3, item.at.y + 3]);
      }
    });
    map.getContainer().setAttribute("data-spread", String(items.length));
  }
  var soon = null;
  function spreadSoon() {
    if (soon === null) soon = setTimeout(function () { soon = null; spread(); }, 0);
  }
  map.on("layeradd layerremove", function (event) { if (event.layer._icon || event.layer._layers) spreadSoon(); });
  map.on("zoomend moveend resize", spreadSoon);
  spreadSoon();

  // dark when the page around the map is dark; the saved page has a button of its own
  var dark = false;
  function light(on) {
    dark = on;
    document.documentElement.classList.toggle("sp-dark", on);
    map.eachLayer(function (layer) { if (layer.light) layer.light(on); });
    (map.spShapes || []).forEach(function (layer) { layer.light(on); });
  }
  map.spLight = light;
  map.on("layeradd", function (event) { if (dark && event.layer.light) event.layer.light(true); });
  var before = false;  // paper is white, whatever the screen is
  window.addEventListener("beforeprint", function () { before = dark; if (dark) light(false); });
  window.addEventListener("afterprint", function () { if (before) light(true); });
  if (config.around) {
    var follow = function () {
      var night = false;
      try {
        var around = window.parent.document.querySelector(config.around);
        night = window.parent.getComputedStyle(around).colorScheme === "dark";
      } catch (error) { night = window.matchMedia("(prefers-color-scheme: dark)").matches; }
      if (night !== dark) light(night);
    };
    follow();
    window.addEventListener("message", follow);  // the page around tells of every change of its looks
  }

  // one picture of the ground at a time: two would mix into colours that no legend explains
  map.on("layeradd", function (event) {
    if (pictures.indexOf(event.layer) < 0) return;
    pictures.forEach(function (picture) {
      if (picture !== event.layer && map.hasLayer(picture)) map.removeLayer(picture);
    });
  });

  // coordinates and ruling under the pointer, or under the finger after a tap
  var place = L.control({position: "bottomright"}), words, bits = null;
  place.onAdd = function () {
    var box = L.DomUtil.create("div", "sp-readout");
    box.setAttribute("role", "status");
    words = box.appendChild(document.createElement("span"));
    words.textContent = "Point at the map for coordinates";
    return box;
  };
  place.addTo(map);
  if (config.ruling) {
    var picture = new Image();
    picture.onload = function () {
      var canvas = document.createElement("canvas");
      canvas.width = picture.naturalWidth;
      canvas.height = picture.naturalHeight;
      var pen = canvas.getContext("2d", {willReadFrequently: true});
      pen.drawImage(picture, 0, 0);
      bits = {pen: pen, width: canvas.width, height: canvas.height};
      map.getContainer().setAttribute("data-ruling", "ready");
    };
    picture.src = config.ruling.url;
  }
  function ruled(at) {
    if (!bits) return "";
    var project = function (lat, lng) { return L.CRS.EPSG3857.project(L.latLng(lat, lng)); };
    var low = project(config.ruling.bounds[0][0], config.ruling.bounds[0][1]);
    var high = project(config.ruling.bounds[1][0], config.ruling.bounds[1][1]);
    var here = project(at.lat, at.lng);
    var col = Math.floor((here.x - low.x) / (high.x - low.x) * bits.width);
    var row = Math.floor((high.y - here.y) / (high.y - low.y) * bits.height);
    if (col < 0 || row < 0 || col >= bits.width || row >= bits.height) return config.ruling.outsideWords;
    var pixel = bits.pen.getImageData(col, row, 1, 1).data, value = pixel[0] + 256 * pixel[1];
    if (value & config.ruling.outside) return config.ruling.outsideWords;
    var hit = config.ruling.limits.filter(function (limit) { return value & limit[0]; });
    if (!hit.length) return value ? config.ruling.otherWords : config.ruling.passWords;
    return hit.map(function (limit) { return limit[1]; }).join("; ");
  }
  function tell(event) {
    var at = event.latlng.wrap(), text = ruled(at);
    words.textContent = at.lat.toFixed(5) + ", " + at.lng.toFixed(5) + (text ? "\n" + text : "");
  }
  map.on("mousemove click", tell);
}

function sitePlannerPage(map, config) {
  "use strict";
  var layers = config.layers, spots = config.spots, chosen = -1;
  function put(layer, on) {
    if (!layer) return;
    if (on) map.addLayer(layer); else map.removeLayer(layer);
  }

  // switches of the legend; these are of the chosen spot
  var OF_SPOT = ["service", "decisions", "aim"];
  var switches = Array.prototype.slice.call(document.querySelectorAll("input[data-layer]"));
  function layerOf(key) {
    return OF_SPOT.indexOf(key) >= 0 ? (spots[chosen] || {})[key] : layers[key];
  }
  function refresh() {
    switches.forEach(function (box) {
      var layer = layerOf(box.dataset.layer);
      box.disabled = !layer;
      box.checked = Boolean(layer && map.hasLayer(layer));
      var words = document.querySelector('[data-of="' + box.dataset.layer + '"]');  // what its colours mean
      if (words) words.classList.toggle("sp-on", box.checked);
    });
  }
  switches.forEach(function (box) {
    box.addEventListener("change", function () { put(layerOf(box.dataset.layer), box.checked); });
  });
  map.on("layeradd layerremove", refresh);

  // the list: one spot's drive, aim and service at a time
  var buttons = Array.prototype.slice.call(document.querySelectorAll("button[data-spot]"));
  function choose(index, move) {
    if (!spots[index]) return;
    var other = ["ruling", "sky", "slope"].some(function (key) { return layers[key] && map.hasLayer(layers[key]); });
    var service = chosen < 0 || (spots[chosen].service ? map.hasLayer(spots[chosen].service) : !other);
    var steps = chosen < 0 || !spots[chosen].decisions || map.hasLayer(spots[chosen].decisions);
    var aims = chosen < 0 || !spots[chosen].aim || map.hasLayer(spots[chosen].aim);
    chosen = index;
    spots.forEach(function (spot, i) {
      put(spot.drive, i === index);
      put(spot.aim, i === index && aims);
      put(spot.decisions, i === index && steps);
      if (i !== index) put(spot.service, false);
    });
    put(spots[index].service, service);
    buttons.forEach(function (button) {
      button.setAttribute("aria-pressed", String(Number(button.dataset.spot) === index));
    });
    refresh();
    if (move) {
      map.closePopup();
      map.setView(spots[index].at, Math.max(map.getZoom(), 14), {animate: false});  // so that the popup finds its room
      layers.spots.eachLayer(function (mark) {
        if (mark.feature && mark.feature.id === spots[index].id) mark.openPopup();
      });
    }
  }
  buttons.forEach(function (button) {
    button.addEventListener("click", function () { choose(Number(button.dataset.spot), true); });
  });
  if (layers.spots) layers.spots.on("click", function (event) {
    var id = event.layer && event.layer.feature && event.layer.feature.id;
    spots.forEach(function (spot, i) { if (spot.id === id) choose(i, false); });
  });
  if (spots.length) choose(0, false); else refresh();

  var root = document.documentElement;
  function pressed(id, words, act) {
    var button = document.getElementById(id);
    button.addEventListener("click", function () {
      var on = button.getAttribute("aria-pressed") !== "true";
      button.setAttribute("aria-pressed", String(on));
      button.textContent = words[on ? 1 : 0];
      act(on);
    });
    return button;
  }
  var night = pressed("sp-night", ["Night view", "Day view"], function (on) {
    map.spLight(on);
  });
  if (window.matchMedia && matchMedia("(prefers-color-scheme: dark)").matches) night.click();
  pressed("sp-hide", ["Hide panel", "Show panel"], function (on) {
    root.classList.toggle("sp-wide", on);
    map.invalidateSize();
  });
  var legend = document.getElementById("sp-legend");
  legend.addEventListener("toggle", function () { map.invalidateSize(); });
  root.setAttribute("data-ready", "yes");
}
