"use strict";
// Charts of what a surface scenario found. `found` is chart_data.surface; `shared` is what all
// charts of the page have in common.
const surfaceCharts = (found, shared) => {
  const { scale, base, whiskers, limitLines, shareTicks, wholeTicks, percent, grouped } = shared;
  const line = (points, colour, more = {}) => ({
    data: points, showLine: true, pointRadius: 0, pointHitRadius: 6, borderWidth: 2, borderColor: colour,
    backgroundColor: colour + "33", ...more,
  });
  const three = (value) => (value === null ? "" : String(+value.toPrecision(3)));
  const headroom = (options, lines) => { options.layout.padding.top = 12 + 15 * lines; return options; };
  const onX = (lines) => lines.filter(({ value }) => value !== null).map((one) => ({ axis: "x", ...one }));

  const response = (canvas, colours) => {
    const { points, band, s50, s95 } = found.curves[canvas.dataset.curve];
    if (!points.length) return null;
    const shown = points.map(([x, y, low, high, n]) => ({ x, y, whisker: [low, high], n }));
    const edge = (column) => band.map((point) => ({ x: point[0], y: point[column] }));
    const xs = [...points, ...band].map(([x]) => x);
    return {
      type: "scatter",
      data: { datasets: [
        { label: "trials", data: shown, borderColor: colours.blue, backgroundColor: colours.blue, pointRadius: 5,
          pointHoverRadius: 7, clip: false },
        line(edge(2), colours.faint, { label: "band", borderWidth: 0 }),
        line(edge(3), colours.faint, { label: "band", borderWidth: 0, fill: "-1" }),
        line(edge(1), colours.ink, { label: "curve" }),
      ] },
      options: headroom(base(colours,
        scale(colours, found.strike_title, { grid: { display: false }, rest: { min: Math.min(...xs), max: Math.max(...xs) } }),
        scale(colours, "detected", { ticks: shareTicks, rest: { min: 0, max: 1 } }),
        { filter: ({ raw }) => raw.n !== undefined,
          callbacks: { label: ({ raw }) => `${raw.x}: ${percent(raw.y)} (${raw.whisker.map(percent).join(" to ")}), n = ${raw.n}` } }), 2),
      plugins: [whiskers("y"), limitLines(onX([{ value: s50, text: "half: " + three(s50) }, { value: s95, text: "95 %: " + three(s95) }]), colours)],
    };
  };

  const spotOf = (canvas) => found.channels[canvas.dataset.channel].spots[canvas.dataset.spot];

  const decay = (canvas, colours) => {
    const { decay: points, noise } = spotOf(canvas);
    const { unit, lockout_ms: lockout } = found.channels[canvas.dataset.channel];
    const shown = points.filter(([, y]) => y > 0).map(([x, y]) => ({ x, y }));
    if (!shown.length) return null;
    // What rings: not the long rest of the record.
    const rings = shown.filter(({ x, y }) => x < 500 && y > 1.5 * (noise ?? 0)).map(({ x }) => x);
    const end = Math.min(shown[shown.length - 1].x, Math.max(50, 2.5 * Math.max(lockout ?? 0, ...rings)));
    const lines = [...onX([{ value: lockout, text: "lockout" }]),
                   ...(noise ? [{ axis: "y", value: noise, text: "noise" }] : [])];
    return {
      type: "scatter",
      data: { datasets: [line(shown, colours.blue)] },
      options: base(colours,
        scale(colours, "after the contact, ms", { ticks: { callback: grouped }, grid: { display: false }, rest: { min: 0, max: end } }),
        scale(colours, "rms, " + unit, { rest: { type: "logarithmic" } }),
        { callbacks: { label: ({ raw }) => `${raw.y} ${unit} after ${raw.x} ms` } }),
      plugins: [limitLines(lines, colours)],
    };
  };

  const spectrum = (canvas, colours) => {
    const { spectrum: points, floor } = spotOf(canvas);
    const shown = points.filter(([, y]) => y !== null).map(([x, y]) => ({ x, y }));
    if (!shown.length) return null;
    return {
      type: "scatter",
      data: { datasets: [line(shown, colours.blue, { borderWidth: 1.5 })] },
      options: base(colours,
        scale(colours, "frequency, Hz", { ticks: { callback: grouped }, grid: { display: false }, rest: { min: 0 } }),
        scale(colours, "dB", { rest: { max: 5, min: 5 * Math.floor(Math.min(floor ?? 0, ...shown.map(({ y }) => y)) / 5) } }),
        { callbacks: { label: ({ raw }) => `${raw.y} dB at ${raw.x} Hz` } }),
      plugins: [limitLines(floor === null ? [] : [{ axis: "y", value: floor, text: "noise" }], colours)],
    };
  };

  const tradeoff = (canvas, colours) => {
    const { tried, chosen, unit } = found.channels[canvas.dataset.channel];
    if (!tried.length) return null;
    const series = (column, label, colour, more) =>
      line(tried.map((one) => ({ x: one[0], y: one[column] })), colour, { label, ...more });
    const options = base(colours,
      scale(colours, "threshold, " + unit, { ticks: { callback: grouped }, grid: { display: false }, rest: { type: "logarithmic" } }),
      scale(colours, "knocks missed", { ticks: shareTicks, rest: { min: 0, max: 1 } }),
      { callbacks: { label: ({ raw, dataset }) => `${dataset.label} at ${raw.x} ${unit}: ${dataset.yAxisID ? raw.y : percent(raw.y)}` } },
      { legend: { display: true, align: "end", labels: { usePointStyle: true, color: colours.ink } } });
    options.scales.rate = scale(colours, "false triggers per hour",
      { ticks: wholeTicks, grid: { drawOnChartArea: false }, rest: { position: "right", beginAtZero: true } });
    return {
      type: "scatter",
      data: { datasets: [series(1, "missed", colours.blue, { pointStyle: "line" }),
                         series(2, "false triggers per hour", colours.alarm, { yAxisID: "rate", borderDash: [4, 3], pointStyle: "line" })] },
      options,
      plugins: [limitLines(onX([{ value: chosen, text: "advice" }]), colours)],
    };
  };

  const map = (canvas, colours) => {
    const { spots, sensors } = found.map;
    if (!spots.length) return null;
    const loudest = Math.max(...spots.map(({ peak }) => peak ?? 0)) || 1;
    return {
      type: "bubble",
      data: { datasets: [
        { label: "spots", borderColor: colours.blue, backgroundColor: colours.blue + "59", clip: false,
          data: spots.map((one) => ({ x: one.x, y: one.y, r: 5 + 18 * (one.peak ?? 0) / loudest, one })) },
        { label: "sensor", pointStyle: "rect", borderColor: colours.ink, backgroundColor: colours.ink, clip: false,
          data: sensors.map(([x, y]) => ({ x, y, r: 6 })) },
      ] },
      options: base(colours,
        scale(colours, "along, mm", { ticks: { callback: grouped }, rest: { grace: "10%" } }),
        scale(colours, "across, mm", { ticks: { callback: grouped }, rest: { grace: "10%" } }),
        { callbacks: { label: ({ raw }) => raw.one ? `${raw.one.name}: peak ${raw.one.peak ?? "not known"}` : "sensor" } },
        { legend: { display: true, align: "end", labels: { usePointStyle: true, color: colours.ink } } }),
    };
  };

  return { response, decay, spectrum, tradeoff, map };
};
