// Quantities against time, drawn by dygraphs (MIT, inlined when the page was built). Without it the tables remain.
const hasCharts = () => typeof window.Dygraph === "function";
const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
const shownCharts = [];
// Its legend sets a style attribute, which the content policy forbids; ours stands below each chart.
if (hasCharts()) window.Dygraph.PLUGINS = window.Dygraph.PLUGINS.filter((p) => p !== window.Dygraph.Plugins.Legend);

const POINTS = {
  disc: (ctx, x, y, r) => { ctx.beginPath(); ctx.arc(x, y, r, 0, 2 * Math.PI); ctx.fill(); },
  ring: (ctx, x, y, r) => { ctx.beginPath(); ctx.arc(x, y, r, 0, 2 * Math.PI); ctx.lineWidth = 1.6; ctx.stroke(); },
  square: (ctx, x, y, r) => ctx.fillRect(x - r, y - r, 2 * r, 2 * r),
  triangle: (ctx, x, y, r) => { ctx.beginPath(); ctx.moveTo(x, y - 1.3 * r); ctx.lineTo(x + 1.2 * r, y + r); ctx.lineTo(x - 1.2 * r, y + r); ctx.fill(); },
  cross: (ctx, x, y, r) => { ctx.beginPath(); ctx.moveTo(x - r, y - r); ctx.lineTo(x + r, y + r); ctx.moveTo(x + r, y - r); ctx.lineTo(x - r, y + r); ctx.lineWidth = 1.8; ctx.stroke(); },
};

function pointDrawer(shape) {
  return (g, name, ctx, x, y, color, size, index) => {
    const drawn = typeof shape === "function" ? shape(index) : shape, stands = drawn === "triangle" || drawn === "cross";
    ctx.fillStyle = ctx.strokeStyle = stands ? colour("--bad") : color;
    POINTS[drawn](ctx, x, y, stands ? 1.4 * size : size);
  };
}

/**
 * One chart. series: [{name, rows: [[x, value, sigma]], points: shape or (row index) => shape, line: bool, dash, tone}];
 * rows of all series must be sorted by x. options: {label, height, time, below(ctx, area, g), onpick(x), range}.
 */
function chart(host, series, options) {
  const xs = [...new Set(series.flatMap((s) => s.rows.map((r) => r[0])))].sort((a, b) => a - b);
  const maps = series.map((s) => new Map(s.rows.map((r) => [r[0], [r[1], r[2] ?? 0]])));
  const rows = xs.map((x) => [options.time ? new Date(x) : x, ...maps.map((m) => m.get(x) ?? [null, 0])]);
  const perSeries = {};
  series.forEach((s) => {
    perSeries[s.name] = { strokeWidth: s.line ? 1.8 : 0, strokePattern: s.dash ? [6, 4] : null, drawPoints: Boolean(s.points),
      pointSize: 4, connectSeparatedPoints: Boolean(s.line), drawPointCallback: pointDrawer(s.points || "disc") };
  });
  const look = () => ({ colors: series.map((s) => colour(s.tone ?? "--ink")), axisLineColor: colour("--line"), gridLineColor: colour("--hair") });
  const area = el("div", { class: "plot" });
  host.append(area);
  const model = window.Dygraph.defaultInteractionModel;
  const graph = new window.Dygraph(area, rows, {
    labels: ["x", ...series.map((s) => s.name)], series: perSeries, errorBars: true, sigma: 1, fillAlpha: 0.16, 
    labelsUTC: true, height: options.height ?? 170, xRangePad: 8, yRangePad: 10, axisLabelFontSize: 13, highlightCircleSize: 0,
    interactionModel: { mousedown: model.mousedown, dblclick: model.dblclick }, includeZero: Boolean(options.fromZero),
    axes: { x: { pixelsPerLabel: 76, axisLabelWidth: 64 }, y: { pixelsPerLabel: 26, axisLabelWidth: 46 } },
    underlayCallback: options.below, ...look(),
  });
  if (options.onpick) pickable(area, graph, options.onpick);
  shownCharts.push({ graph, look });
  return graph;
}

/** A click, not the end of a drag, picks the place in time. */
function pickable(area, graph, onpick) {
  let down = null;
  area.addEventListener("pointerdown", (e) => { down = [e.clientX, e.clientY]; });
  area.addEventListener("click", (e) => {
    if (!down || Math.hypot(e.clientX - down[0], e.clientY - down[1]) > 5) return;
    onpick(graph.toDataXCoord(e.clientX - area.getBoundingClientRect().left));
  });
}

/** A line over the chart that can be moved without drawing the chart anew; gives the function that places it. */
function cursorOf(graph) {
  const line = el("div", { class: "cursor", hidden: true });
  graph.graphDiv.append(line);
  return (x) => {
    const area = graph.getArea(), px = known(x) ? graph.toDomXCoord(x) : NaN;
    line.hidden = !(px >= area.x && px <= area.x + area.w);
    line.style.left = `${px - 1.5}px`;
    line.style.top = `${area.y}px`;
    line.style.height = `${area.h}px`;
  };
}

/** Zooming one chart zooms the others of its group; `drawn` is told after each drawing. */
function zoomTogether(graphs, drawn) {
  let busy = false;
  graphs.forEach((g) => g.updateOptions({ drawCallback: (me, initial) => {
    drawn();
    if (busy || initial) return;
    busy = true;
    const range = me.isZoomed("x") ? me.xAxisRange() : null;
    graphs.filter((o) => o !== me).forEach((o) => o.updateOptions({ dateWindow: range }));
    busy = false;
  } }, true));
}

const recolourCharts = () => shownCharts.forEach(({ graph, look }) => graph.updateOptions(look()));

/** A figure with heading, description and chart; nothing without the library, since the table beside it holds the same. */
function chartFigure(title, description, draw) {
  if (!hasCharts()) return null;
  const host = el("div", { class: "chart", role: "img", "aria-label": description });
  queueMicrotask(() => draw(host));  // once the figure is in the page and has a width
  return el("figure", null, el("h3", null, title), host);
}
