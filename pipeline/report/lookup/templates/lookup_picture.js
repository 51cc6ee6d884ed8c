// The picture: where a drive lies among the drives of its speed. It is zoomed to where drives are; names stand beside what
// they name, and move out of each other's way. Shapes differ by more than color, so it works in gray and in the dark.

const SVG = "http://www.w3.org/2000/svg";
const BOX = { left: 46, right: 350, top: 22, bottom: 236 };
const LETTER = 8.6; // width of a letter of 16 units, on the safe side
const LINE = 18;

function svgElement(name, attributes, text) {
  const made = document.createElementNS(SVG, name);
  Object.entries(attributes).forEach(([key, value]) => made.setAttribute(key, value));
  if (text !== undefined) made.textContent = text;
  return made;
}

// Half widths of the ellipse along launch and spin.
function ellipseRoom({ inverse: [[a, b], [c, d]], inside }) {
  const determinant = a * d - b * c;
  return [Math.sqrt(inside * d / determinant), Math.sqrt(inside * a / determinant)];
}

// Spin at a share of a turn round the ellipse, as [launch, spin] points.
function ellipsePoints({ mean, inverse: [[a, b], [, d]], inside }, count = 72) {
  // Cholesky of the inverse: with x = (u, v), a u^2 + 2 b u v + d v^2 = inside.
  const first = Math.sqrt(a);
  const second = Math.sqrt(d - b * b / a);
  return Array.from({ length: count }, (_, index) => {
    const turn = 2 * Math.PI * index / count;
    const v = Math.sqrt(inside) * Math.sin(turn) / second;
    const u = Math.sqrt(inside) * Math.cos(turn) / first - b / a * v;
    return [mean[0] + u, mean[1] + v];
  });
}

// From where to where the axes go: around the drives near the speed, what is reachable, the window and this drive.
function pictureExtent({ ellipse, reach, window }, drive) {
  const room = ellipseRoom(ellipse);
  const around = (axis, more, step) => {
    const middle = ellipse.mean[axis];
    const all = [middle - room[axis], middle + room[axis], drive[axis], ...(window ?? [[], []])[axis], ...more];
    return [Math.floor(Math.min(...all) / step) * step, Math.ceil(Math.max(...all) / step) * step];
  };
  return {
    launch: around(0, reach.map((row) => row[0]), 0.5),
    spin: around(1, reach.flatMap((row) => [row[1], row[2]]), 100),
  };
}

// The reachable deliveries as one path: a bar for each run of spins at a launch, as high as the step of launch.
function reachPath(reach, x, y) {
  const launches = [...new Set(reach.map((row) => row[0]))].sort((a, b) => a - b);
  const gaps = launches.slice(1).map((launch, index) => launch - launches[index]);
  const half = gaps.length ? Math.min(...gaps) / 2 : 0.25;
  return reach.map(([launch, from, to]) => (
    `M${x(from)},${y(launch + half)}H${x(to)}V${y(launch - half)}H${x(from)}Z`
  )).join("");
}

function ticksOf([lo, hi], steps) {
  const step = steps.find((one) => (hi - lo) / one <= 5) ?? steps[steps.length - 1];
  const first = Math.ceil(lo / step);
  return Array.from({ length: Math.floor(hi / step) - first + 1 }, (_, index) => (first + index) * step);
}

// Places for the foot of a name around a box from (x0, y0) to (x1, y1), nearest first.
function spotsAround([x0, y0, x1, y1], width, gap) {
  const middle = (y0 + y1) / 2 + 5;
  return [
    [x1 + gap, middle], [x0 - gap - width, middle], [x0, y0 - gap - 2], [x1 - width, y0 - gap - 2],
    [x0, y1 + gap + 13], [x1 - width, y1 + gap + 13], [(x0 + x1 - width) / 2, y0 - gap - 2],
    [(x0 + x1 - width) / 2, y1 + gap + 13], [x1 + gap, y0], [x1 + gap, y1 + 11], [x0 - gap - width, y0], [x0 - gap - width, y1 + 11],
    ...[22, 44].flatMap((more) => [[x0, y1 + gap + 13 + more], [x0, y0 - gap - 2 - more], [x1 + gap, middle + more],
      [x1 + gap, middle - more], [x0 - gap - width, middle + more], [x0 - gap - width, middle - more]]),
  ];
}

// A free place for a name: the first that keeps inside the frame and off what is `taken`, or the one least on it.
function placeName(text, box, taken, gap) {
  const width = text.length * LETTER;
  const areaOf = ([left, base]) => [left, base - LINE + 4, left + width, base + 4];
  const cost = (spot) => {
    const [x0, y0, x1, y1] = areaOf(spot);
    const isOut = x0 < BOX.left + 2 || x1 > BOX.right - 2 || y0 < BOX.top || y1 > BOX.bottom;
    return taken.reduce((sum, [a0, b0, a1, b1]) => (
      sum + Math.max(0, Math.min(x1, a1) - Math.max(x0, a0)) * Math.max(0, Math.min(y1, b1) - Math.max(y0, b0))
    ), isOut ? 1e6 : 0);
  };
  const best = spotsAround(box, width, gap).reduce((a, b) => (cost(b) < cost(a) ? b : a));
  taken.push(areaOf(best));
  return best;
}

function axesOf(x, y, extent, t) {
  const lines = [];
  ticksOf(extent.spin, [200, 500, 1000, 2000]).forEach((value) => {
    lines.push(svgElement("line", { class: "grid", x1: x(value), x2: x(value), y1: BOX.top, y2: BOX.bottom }));
    lines.push(svgElement("text", { x: x(value), y: BOX.bottom + 19, "text-anchor": "middle" }, numberText(value)));
  });
  ticksOf(extent.launch, [1, 2, 5, 10]).forEach((value) => {
    lines.push(svgElement("line", { class: "grid", x1: BOX.left, x2: BOX.right, y1: y(value), y2: y(value) }));
    lines.push(svgElement("text", { x: BOX.left - 6, y: y(value) + 5.5, "text-anchor": "end" }, numberText(value)));
  });
  lines.push(svgElement("text", { x: 2, y: 14 }, t.picture_launch));
  lines.push(svgElement("text", { x: BOX.right, y: BOX.bottom + 42, "text-anchor": "end" }, t.picture_spin));
  return lines;
}

// Draws into an svg element; `drive` is { launch, spin, isTypical }, `t` the catalogue's [page].
function drawPicture(svg, region, drive, t) {
  const extent = pictureExtent(region, [drive.launch, drive.spin]);
  const scale = ([lo, hi], from, to) => (value) => Number((from + (to - from) * (value - lo) / (hi - lo)).toFixed(2));
  const x = scale(extent.spin, BOX.left, BOX.right);
  const y = scale(extent.launch, BOX.bottom, BOX.top);
  const points = (list) => list.map(([launch, spin]) => `${x(spin)},${y(launch)}`).join(" ");
  const clip = svgElement("clipPath", { id: "inside" });
  clip.append(svgElement("rect", { x: BOX.left, y: BOX.top, width: BOX.right - BOX.left, height: BOX.bottom - BOX.top }));
  const made = [clip, svgElement("path", { class: "reach", d: reachPath(region.reach, x, y), "clip-path": "url(#inside)" }),
    ...axesOf(x, y, extent, t),
    svgElement("polygon", { class: "drives", points: points(ellipsePoints(region.ellipse)), "clip-path": "url(#inside)" })];
  const at = [x(drive.spin), y(drive.launch)];
  const best = [x(region.best[1]), y(region.best[0])];
  const around = ([h, v], room) => [h - room, v - room, h + room, v + room];
  const taken = [around(at, 9), around(best, 9)];
  const names = [];
  const name = (text, box) => {
    const [left, base] = placeName(text, box, taken, 4);
    names.push(svgElement("text", { class: "name", x: left, y: base }, text));
  };
  if (region.window) {
    const [[l0, l1], [s0, s1]] = region.window;
    const box = { x: x(s0), y: y(l1), width: x(s1) - x(s0), height: y(l0) - y(l1) };
    made.push(svgElement("rect", { class: "window", id: "window-box", ...box }));
  }
  made.push(svgElement("path", { class: "best", id: "best-mark", d: `M${best[0] - 7},${best[1]}h14M${best[0]},${best[1] - 7}v14` }));
  made.push(svgElement("circle", { class: drive.isTypical ? "dot usual" : "dot", id: "drive-dot", cx: at[0], cy: at[1], r: 7 }));
  made.push(svgElement("rect", { class: "frame", x: BOX.left, y: BOX.top, width: BOX.right - BOX.left, height: BOX.bottom - BOX.top }));
  if (region.window) {
    const [[l0, l1], [s0, s1]] = region.window;
    taken.push([x(s0), y(l1), x(s1), y(l0)]);
    name(t.picture_window, [x(s0), y(l1), x(s1), y(l0)]);
  }
  name(drive.isTypical ? t.picture_usual : t.picture_drive, around(at, 8));
  name(t.picture_best, around(best, 8));
  svg.replaceChildren(...made, ...names);
}
