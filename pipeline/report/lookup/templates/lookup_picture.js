// The picture: where a drive lies among the drives of its speed. It is zoomed to where drives are; names stand beside
// what they name, and move out of each other's way. Shapes differ by more than color, so it works in gray and the dark.

const SVG = "http://www.w3.org/2000/svg";
const WIDTH = 360;
const BOX = { left: 46, right: 350, top: 22, bottom: 236 };
const LETTER = 10.4; // width of a bold letter of 16 units, in the widest of usual fonts
const LINE = 19;
const NAME_WEIGHT = 8; // a name on a name can't be read; on the window it can

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
    [(x0 + x1 - width) / 2, y1 + gap + 13], [x1 + gap, y0], [x1 + gap, y1 + 11],
    [x0 - gap - width, y0], [x0 - gap - width, y1 + 11],
    ...[22, 44].flatMap((more) => [[x0, y1 + gap + 13 + more], [x0, y0 - gap - 2 - more], [x1 + gap, middle + more],
      [x1 + gap, middle - more], [x0 - gap - width, middle + more], [x0 - gap - width, middle - more]]),
  ];
}

// A free place for a name: the first that keeps inside the frame and off what is `taken`, or the one least on it.
function placeName(text, box, taken, gap) {
  const width = text.length * LETTER;
  const areaOf = ([left, base]) => [left, base - LINE + 4, left + width, base + 5];
  const cost = (spot) => {
    const [x0, y0, x1, y1] = areaOf(spot);
    const isOut = x0 < BOX.left + 2 || x1 > BOX.right - 2 || y0 < BOX.top || y1 > BOX.bottom;
    return taken.reduce((sum, { area: [a0, b0, a1, b1], weight }) => (
      sum + weight * Math.max(0, Math.min(x1, a1) - Math.max(x0, a0)) * Math.max(0, Math.min(y1, b1) - Math.max(y0, b0))
    ), isOut ? 1e6 : 0);
  };
  const best = spotsAround(box, width, gap).reduce((a, b) => (cost(b) < cost(a) ? b : a));
  taken.push({ area: areaOf(best), weight: NAME_WEIGHT });
  return best;
}

function axesOf(x, y, extent, t) {
  const lines = [];
  ticksOf(extent.spin, [200, 500, 1000, 2000]).forEach((value) => {
    lines.push(svgElement("line", { class: "grid", x1: x(value), x2: x(value), y1: BOX.top, y2: BOX.bottom }));
    const place = { x: Math.min(x(value), WIDTH - 24), y: BOX.bottom + 19, "text-anchor": "middle" };
    lines.push(svgElement("text", place, numberText(value)));
  });
  ticksOf(extent.launch, [1, 2, 5, 10]).forEach((value) => {
    lines.push(svgElement("line", { class: "grid", x1: BOX.left, x2: BOX.right, y1: y(value), y2: y(value) }));
    lines.push(svgElement("text", { x: BOX.left - 6, y: y(value) + 5.5, "text-anchor": "end" }, numberText(value)));
  });
  lines.push(svgElement("text", { x: 2, y: 14 }, t.picture_launch));
  lines.push(svgElement("text", { x: BOX.right, y: BOX.bottom + 42, "text-anchor": "end" }, t.picture_spin));
  return lines;
}

const FRAME = { x: BOX.left, y: BOX.top, width: BOX.right - BOX.left, height: BOX.bottom - BOX.top };

// What lies behind: reachable deliveries, axes, the ellipse of the drives near; cut at the frame.
function groundOf(region, x, y, extent, t) {
  const clip = svgElement("clipPath", { id: "inside" });
  clip.append(svgElement("rect", FRAME));
  const cut = { "clip-path": "url(#inside)" };
  const points = ellipsePoints(region.ellipse).map(([launch, spin]) => `${x(spin)},${y(launch)}`).join(" ");
  return [
    clip,
    svgElement("path", { class: "reach", d: reachPath(region.reach, x, y), ...cut }),
    ...axesOf(x, y, extent, t),
    svgElement("polygon", { class: "drives", points, ...cut }),
    svgElement("rect", { class: "frame", ...FRAME }),
  ];
}

// Window, best delivery and drive: each a shape, the box that it fills, and the name beside it, in the order of naming.
function marksOf(region, drive, x, y, t) {
  const around = ([h, v], room) => [h - room, v - room, h + room, v + room];
  const at = [x(drive.spin), y(drive.launch)];
  const best = [x(region.best[1]), y(region.best[0])];
  const cross = `M${best[0] - 7},${best[1]}h14M${best[0]},${best[1] - 7}v14`;
  const name = drive.isTypical ? t.picture_usual : t.picture_drive;
  const plus = svgElement("path", { class: "best", id: "best-mark", d: cross });
  const dot = { class: drive.isTypical ? "dot usual" : "dot", id: "drive-dot", cx: at[0], cy: at[1], r: 7 };
  const marks = [
    { shape: svgElement("circle", dot), box: around(at, 8), weight: 2, name },
    { shape: plus, box: around(best, 8), weight: 2, name: t.picture_best },
  ];
  if (!region.window) return marks;
  const [[l0, l1], [s0, s1]] = region.window;
  const box = [x(s0), y(l1), x(s1), y(l0)];
  const size = { x: box[0], y: box[1], width: box[2] - box[0], height: box[3] - box[1] };
  const shape = svgElement("rect", { class: "window", id: "window-box", ...size });
  return [{ shape, box, weight: 0.5, name: t.picture_window }, ...marks];
}

// Draws into an svg element; `drive` is { launch, spin, isTypical }, `t` the catalogue's [page].
function drawPicture(svg, region, drive, t) {
  const extent = pictureExtent(region, [drive.launch, drive.spin]);
  const scale = ([lo, hi], from, to) => (value) => Number((from + (to - from) * (value - lo) / (hi - lo)).toFixed(2));
  const x = scale(extent.spin, BOX.left, BOX.right);
  const y = scale(extent.launch, BOX.bottom, BOX.top);
  const marks = marksOf(region, drive, x, y, t);
  const taken = marks.map(({ box, weight }) => ({ area: box, weight }));
  const names = marks.map(({ box, name }) => {
    const [left, base] = placeName(name, box, taken, 4);
    return svgElement("text", { class: "name", x: left, y: base }, name);
  });
  svg.replaceChildren(...groundOf(region, x, y, extent, t), ...marks.map((mark) => mark.shape), ...names);
}
