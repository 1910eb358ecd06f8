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

  // switches of the legend; `service` is that of the chosen spot
  var switches = Array.prototype.slice.call(document.querySelectorAll("input[data-layer]"));
  function layerOf(key) {
    return key === "service" ? (spots[chosen] || {}).service : layers[key];
  }
  function refresh() {
    switches.forEach(function (box) {
      var layer = layerOf(box.dataset.layer);
      box.disabled = !layer;
      box.checked = Boolean(layer && map.hasLayer(layer));
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
    var other = ["ruling", "slope"].some(function (key) { return layers[key] && map.hasLayer(layers[key]); });
    var service = chosen < 0 || (spots[chosen].service ? map.hasLayer(spots[chosen].service) : !other);
    chosen = index;
    spots.forEach(function (spot, i) {
      put(spot.drive, i === index);
      put(spot.aim, i === index);
      if (i !== index) put(spot.service, false);
    });
    put(spots[index].service, service);
    buttons.forEach(function (button, i) { button.setAttribute("aria-pressed", String(i === index)); });
    refresh();
    if (move) {
      map.closePopup();
      map.setView(spots[index].at, Math.max(map.getZoom(), 14), {animate: false});  // so that the popup finds its room
      layers.spots.eachLayer(function (mark) {
        if (mark.feature && mark.feature.id === spots[index].id) mark.openPopup();
      });
    }
  }
  buttons.forEach(function (button, i) {
    button.addEventListener("click", function () { choose(i, true); });
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
    root.classList.toggle("sp-dark", on);
    (map.spShapes || []).forEach(function (layer) { layer.light(on); });
  });
  if (window.matchMedia && matchMedia("(prefers-color-scheme: dark)").matches) night.click();
  pressed("sp-hide", ["Hide panel", "Show panel"], function (on) {
    root.classList.toggle("sp-wide", on);
    map.invalidateSize();
  });
  root.setAttribute("data-ready", "yes");
}
