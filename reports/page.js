"use strict";
(() => {
  if (!window.Chart) return;
  const data = JSON.parse(document.getElementById("chart-data").textContent);
  const shared = chartParts();
  const { percent, grouped, shortened, clock, courseMarks, whiskers, limitLines, scale, base, shareTicks, wholeTicks, rowsHeight } =
    shared;

  // ----- The charts, each (canvas, colours) -> configuration, or null for nothing to show

  const detection = (canvas, colours) => {
    const { rows, limit, limit_name: name } = data.devices[canvas.dataset.device].detection;
    const shown = rows.filter((row) => row.share);
    if (!shown.length) return null;
    rowsHeight(canvas, shown.length);
    const low = Math.min(...shown.map((row) => row.share[0]), limit ?? 1);
    const points = (distractor) => shown
      .filter((row) => row.distractor === distractor)
      .map((row) => ({ x: row.share[1], y: shortened(row.name), whisker: [row.share[0], row.share[2]], n: row.n }));
    const series = (label, distractor, style, fill) => ({
      label, data: points(distractor), pointStyle: style, pointRadius: 6, pointHoverRadius: 8,
      borderColor: colours.blue, backgroundColor: fill, pointBorderWidth: 2, clip: false,
    });
    const lines = limit === null ? [] : [{ axis: "x", value: limit, text: name + ", all rhythms: " + percent(limit) }];
    return {
      type: "scatter",
      data: { datasets: [series("rhythms", false, "circle", colours.blue),
                         series("distractors (right is silence)", true, "rectRot", colours.paper)] },
      options: base(colours,
        scale(colours, "answered rightly", { ticks: shareTicks, rest: { min: Math.max(0, Math.floor(low * 20 - 0.2) / 20), max: 1 } }),
        scale(colours, "", { ticks: { color: colours.ink, autoSkip: false }, grid: { display: false },
                             rest: { type: "category", offset: true, labels: shown.map((row) => shortened(row.name)) } }),
        { callbacks: { label: ({ raw }) => `${raw.y}: ${percent(raw.x)} (${raw.whisker.map(percent).join(" to ")}), n = ${raw.n}` } },
        { legend: { display: shown.some((row) => row.distractor), position: "bottom",
                    labels: { usePointStyle: true, color: colours.ink } } }),
      plugins: [whiskers("x"), limitLines(lines, colours)],
    };
  };

  const latencyRange = ({ bins, limits }) => ({
    min: Math.min(bins[0][0], ...limits.map((one) => one.ms * 0.98)),
    max: Math.max(bins[bins.length - 1][1], ...limits.map((one) => one.ms * 1.02)),
  });
  // The histogram shows the shape of the answers: a limit far from them must not press it flat.
  // The curve beside it has all limits drawn in.
  const closeUp = (latency) => {
    const low = latency.bins[0][0];
    const high = latency.bins[latency.bins.length - 1][1];
    const near = ({ ms }) => ms > low - (high - low) && ms < high + (high - low);
    return { ...latency, limits: latency.limits.filter(near), beyond: latency.limits.filter((one) => !near(one)) };
  };
  const limitsOnX = (latency) =>
    latency.limits.map((one) => ({ axis: "x", value: one.ms, text: "limit, " + one.text }));

  const stepped = (colours, points, more = {}) => ({
    data: points, stepped: "before", pointRadius: 0, pointHitRadius: 6, borderWidth: 2,
    borderColor: colours.blue, backgroundColor: colours.blue + "59", showLine: true, ...more,
  });

  const histogram = (canvas, colours) => {
    if (!data.devices[canvas.dataset.device].latency.bins.length) return null;
    const latency = closeUp(data.devices[canvas.dataset.device].latency);
    const beyond = latency.beyond.map((one) => `; the limit of ${grouped(one.ms)} ms lies outside`).join("");
    const points = latency.bins.map(([from, to, count]) => ({ x: from, y: count, to }));
    const first = points[0];
    const last = points[points.length - 1];
    const outline = [{ x: first.x, y: 0 }, ...points, { x: last.to, y: last.y }, { x: last.to, y: 0 }];
    return {
      type: "scatter",
      data: { datasets: [stepped(colours, outline, { fill: "origin", borderWidth: 1.5 })] },
      options: base(colours,
        scale(colours, "latency, ms" + beyond, { ticks: { callback: grouped }, rest: latencyRange(latency), grid: { display: false } }),
        scale(colours, "answers", { ticks: wholeTicks, rest: { beginAtZero: true } }),
        { filter: ({ raw }) => raw.to !== undefined && raw.y > 0,
          callbacks: { label: ({ raw }) => `${raw.x} to ${raw.to} ms: ${raw.y}` } }),
      plugins: [limitLines(limitsOnX(latency), colours)],
    };
  };

  const ecdf = (canvas, colours) => {
    const latency = data.devices[canvas.dataset.device].latency;
    if (!latency.ecdf.length) return null;
    const range = latencyRange(latency);
    const end = latency.ecdf[latency.ecdf.length - 1];
    const points = [[range.min, 0], ...latency.ecdf, [range.max, end[1]]].map(([x, y]) => ({ x, y }));
    const shares = latency.limits.filter((one) => one.share)
      .map((one) => ({ axis: "y", value: one.share, text: percent(one.share) }));
    return {
      type: "scatter",
      data: { datasets: [stepped(colours, points)] },
      options: base(colours,
        scale(colours, "latency, ms", { ticks: { callback: grouped }, rest: range, grid: { display: false } }),
        scale(colours, "answered by then", { ticks: shareTicks, rest: { min: 0, max: 1 } }),
        { callbacks: { label: ({ raw }) => `${percent(raw.y)} within ${raw.x} ms` } }),
      plugins: [limitLines([...limitsOnX(latency), ...shares], colours)],
    };
  };

  const strength = (canvas, colours) => {
    const bins = data.devices[canvas.dataset.device].strength.filter((bin) => bin.share);
    if (!bins.length) return null;
    const points = bins.map((bin) => ({ x: (bin.from + bin.to) / 2, y: bin.share[1], whisker: [bin.share[0], bin.share[2]], bin }));
    const title = data.strike_unit === "m/s" ? "strike speed, m/s" : "drive (not calibrated)";
    return {
      type: "scatter",
      data: { datasets: [{ data: points, showLine: true, borderWidth: 1, borderColor: colours.blue,
                           backgroundColor: colours.blue, pointRadius: 5, pointHoverRadius: 7, clip: false }] },
      options: base(colours,
        scale(colours, title, { grid: { display: false }, rest: { min: bins[0].from, max: bins[bins.length - 1].to } }),
        scale(colours, "detected", { ticks: shareTicks, rest: { min: 0, max: 1 } }),
        { callbacks: { label: ({ raw: { y, whisker, bin } }) =>
            `${bin.from} to ${bin.to}: ${percent(y)} (${whisker.map(percent).join(" to ")}), n = ${bin.n}` } }),
      plugins: [whiskers("y")],
    };
  };

  // Both charts of the course keep the same width for their left axis, so that times line up.
  const sameAxis = { afterFit: (axis) => { axis.width = 112; } };
  const timeScale = (colours, title) => {
    const end = data.timeline[data.timeline.length - 1][1];
    const steps = [1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 21600, 43200, 86400, 604800];
    const step = steps.find((one) => end / one <= 8) || Math.ceil(end / 8);
    return scale(colours, title, {
      ticks: { callback: clock, stepSize: step }, grid: { display: false },
      rest: { min: 0, max: step * Math.ceil(end / step) } });
  };

  const timeline = (canvas, colours) => {
    if (!data.timeline.length) return null;
    const series = (column) => {
      const points = data.timeline.map((bin) => ({ x: bin[0], y: bin[column], bin }));
      const last = data.timeline[data.timeline.length - 1];
      return [...points, { x: last[1], y: last[column] }];
    };
    const dataset = (label, column, colour, more) =>
      stepped(colours, series(column), { label, borderColor: colour, backgroundColor: colour + "59", fill: "origin", ...more });
    return {
      type: "scatter",
      data: { datasets: [dataset("wrong answers", 3, colours.wrong, { pointStyle: "rect" }),
                         dataset("false alarms", 4, colours.alarm, { borderDash: [4, 3], pointStyle: "line" })] },
      options: base(colours, timeScale(colours, ""),
        scale(colours, "per stretch", { ticks: wholeTicks, rest: { beginAtZero: true, suggestedMax: 2, ...sameAxis } }),
        { filter: ({ raw }) => Boolean(raw.bin),
          callbacks: { label: ({ raw: { bin } }) =>
            `${clock(bin[0])} to ${clock(bin[1])}: ${bin[3]} wrong of ${bin[2]}, ${bin[4]} alarms` } },
        { legend: { display: true, align: "end", position: "bottom", labels: { usePointStyle: true, color: colours.ink } } }),
      plugins: [courseMarks(data.soak, colours)],
    };
  };

  const kinds = {
    "miss": ["crossRot", "wrong"], "late": ["triangle", "wrong"], "early": ["rect", "wrong"],
    "confusion": ["rectRot", "wrong"], "false-response": ["star", "wrong"], "false alarm": ["circle", "alarm"],
  };

  const findings = (canvas, colours) => {
    const present = [...new Set(data.findings.map((one) => one[1]))];
    const labels = Object.keys(kinds).filter((kind) => present.includes(kind))
      .concat(present.filter((kind) => !(kind in kinds)));
    if (!labels.length || !data.timeline.length) return null;
    rowsHeight(canvas, labels.length);
    return {
      type: "scatter",
      data: { datasets: labels.map((kind) => {
        const [pointStyle, colour] = kinds[kind] || ["cross", "ink"];
        return { label: kind, pointStyle, pointRadius: 6, pointHoverRadius: 9, pointBorderWidth: 2,
                 borderColor: colours[colour], backgroundColor: colours[colour] + "40",
                 data: data.findings.filter((one) => one[1] === kind).map(([x, y, row]) => ({ x, y, row })) };
      }) },
      options: {
        ...base(colours, timeScale(colours, "time since the run began, h:mm:ss"),
          scale(colours, "", { ticks: { color: colours.ink, autoSkip: false }, rest: { type: "category", labels, offset: true, ...sameAxis } }),
          { callbacks: { label: ({ raw }) => `${raw.y} at ${clock(raw.x)}: row ${raw.row} of the table` } }),
        onClick: (event, hits, chart) => {
          if (hits.length) location.hash = "finding-" + chart.data.datasets[hits[0].datasetIndex].data[hits[0].index].row;
        },
        onHover: (event, hits) => { canvas.style.cursor = hits.length ? "pointer" : ""; },
      },
    };
  };

  shared.show({ ...surfaceCharts(data.surface, shared), ...soakCharts(data.soak, { ...shared, timeScale, sameAxis }),
                detection, histogram, ecdf, strength, timeline, findings });
})();
