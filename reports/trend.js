"use strict";
// Charts of the trend: each figure night by night on its control chart, and false alarms by hour.
(() => {
  if (!window.Chart) return;
  const data = JSON.parse(document.getElementById("chart-data").textContent);
  const { whiskers, limitLines, scale, base, shareTicks, show } = chartParts();
  const night = (value) => (Number.isInteger(value) ? data.nights[value] ?? "" : "");

  const course = (canvas, colours) => {
    const { points, centre, lines, share, axis } = data.series[canvas.dataset.series];
    if (!points.length) return null;
    const shown = points.map((one) => ({ ...one, whisker: one.low === null ? null : [one.low, one.high] }));
    const used = shown.filter((one) => !one.left_out);
    const limit = (key) => used.filter((one) => one[key] !== null).map((one) => ({ x: one.x, y: one[key], limit: true }));
    const edge = (key, label) => ({
      label, data: limit(key), showLine: true, stepped: "middle", pointRadius: 0, pointHitRadius: 0, borderWidth: 1.5,
      borderDash: [2, 3], borderColor: colours.faint, pointStyle: "line",
    });
    const dots = (label, chosen, pointStyle, colour, more = {}) => ({
      label, data: chosen, pointStyle, pointRadius: 5, pointHoverRadius: 7, borderColor: colour,
      backgroundColor: colour, clip: false, ...more,
    });
    const left = shown.filter((one) => one.left_out);
    const marked = used.filter((one) => one.marks).map((one) => ({ ...one, whisker: null }));
    const values = [...shown.flatMap((one) => [one.y, one.low, one.high, one.limit_low, one.limit_high]), centre]
      .filter((value) => value !== null);
    const room = (Math.max(...values) - Math.min(...values) || Math.abs(values[0]) || 1) * 0.06;
    const range = { min: Math.min(...values) - room, max: Math.max(...values) + room };
    if (share) { range.min = Math.max(0, range.min); range.max = Math.min(1, range.max); }
    else if (Math.min(...values) >= 0) range.min = Math.max(0, range.min);
    const across = lines.map(({ x, text }) => ({ axis: "x", value: x, text }));
    const middle = centre === null ? [] : [-0.5, data.nights.length - 0.5].map((x) => ({ x, y: centre, limit: true }));
    const ticks = share ? shareTicks : { callback: (value) => +value.toPrecision(4) };
    const options = base(colours,
      scale(colours, "", { ticks: { callback: night, precision: 0 }, grid: { display: false },
                           rest: { min: -0.5, max: data.nights.length - 0.5 } }),
      scale(colours, axis, { ticks: { ...ticks, includeBounds: false }, rest: range }),
      { filter: ({ raw }) => !raw.limit, callbacks: { label: ({ raw }) => raw.text } },
      { legend: { display: true, align: "end", position: "bottom",
                  labels: { usePointStyle: true, color: colours.ink, filter: ({ text }) => Boolean(text) } } });
    options.layout.padding.top = 12 + 15 * Math.max(1, across.length);
    return {
      type: "scatter",
      data: { datasets: [
        dots("looked at", marked, "triangle", colours.wrong, { pointRadius: 10, pointHoverRadius: 11, backgroundColor: "transparent", borderWidth: 2 }),
        dots("each night", used, "circle", colours.blue, { showLine: true, borderWidth: 1 }),
        ...(left.length ? [dots("left out", left, "crossRot", colours.ink, { borderWidth: 2, pointRadius: 6 })] : []),
        { ...edge("limit_low", "baseline"), data: middle, borderDash: [7, 4], borderColor: colours.ink },
        edge("limit_low", "control limits"),
        edge("limit_high", ""),
      ].filter(({ data: some }) => some.length) },
      options,
      plugins: [whiskers("y"), limitLines(across, colours)],
    };
  };

  const hours = (canvas, colours) => {
    const { bars, even } = data.hours[canvas.dataset.hours];
    if (!bars.length) return null;
    return {
      type: "bar",
      data: {
        labels: bars.map(({ hour, named }) => (named ? hour + "★" : hour)),
        datasets: [{
          data: bars.map(({ rate }) => rate),
          backgroundColor: bars.map(({ named }) => (named ? colours.wrong : colours.blue + "99")),
          borderColor: bars.map(({ named }) => (named ? colours.ink : colours.blue)),
          borderWidth: bars.map(({ named }) => (named ? 2 : 1)),
        }],
      },
      options: base(colours,
        scale(colours, "hour of the local day", { grid: { display: false } }),
        scale(colours, "false alarms per hour", { rest: { beginAtZero: true, suggestedMax: 1 } }),
        { callbacks: { title: () => "", label: ({ dataIndex }) => bars[dataIndex].text } }),
      plugins: [limitLines(even === null ? [] : [{ axis: "y", value: even, text: "even rate" }], colours)],
    };
  };

  show({ course, hours });
})();
