// Charts of a long run's hours. `soak` is chart_data.soak; `shared` is what all charts of the page
// have in common.
const soakCharts = (soak, shared) => {
  const { scale, base, whiskers, limitLines, courseMarks, timeScale, sameAxis, shareTicks, wholeTicks, percent } = shared;
  const three = (value) => String(+value.toPrecision(3));
  const ends = ([low, , high], text) => (low === high ? "" : ` (${text(low)} to ${text(high)})`);
  const radius = (count) => (count > 72 ? 2 : 4);

  // One point an hour at its middle.
  const series = (colours, hours, column, colour, more = {}) => ({
    data: hours.filter((hour) => hour[column]).map((hour) => ({
      x: (hour.from + hour.to) / 2, y: hour[column][1], whisker: [hour[column][0], hour[column][2]], hour })),
    borderColor: colour, backgroundColor: colour, pointRadius: radius(hours.length),
    pointHoverRadius: radius(hours.length) + 2, clip: false, ...more,
  });
  const limit = (value) => (value === null ? [] : [{ axis: "y", value, text: "limit" }]);

  const hourRate = (canvas, colours) => {
    const { hours, rate_limit: most } = soak.devices[canvas.dataset.device];
    const points = series(colours, hours, "rate", colours.alarm, { pointStyle: "rectRot" });
    if (!points.data.length) return null;
    // The upper end of an hour with little quiet must not press the others flat.
    const highest = Math.max(1, most ?? 0, ...points.data.map(({ y }) => 2.5 * y));
    const tallest = Math.max(...points.data.map(({ whisker }) => whisker[1]));
    points.clip = { left: 8, right: 8, top: 0, bottom: 8 };
    return {
      type: "scatter",
      data: { datasets: [points] },
      options: base(colours, timeScale(colours, ""),
        scale(colours, "alarms per hour", { rest: { min: 0, max: Math.min(1.05 * tallest, Math.max(highest, 6)), ...sameAxis } }),
        { callbacks: { label: ({ raw: { hour } }) =>
            `${hour.alarms} in ${three(hour.quiet_h)} h: ${three(hour.rate[1])} per hour${ends(hour.rate, three)}` } }),
      plugins: [courseMarks(soak, colours), whiskers("y"), limitLines(limit(most), colours)],
    };
  };

  const hourShare = (canvas, colours) => {
    const { hours, share_limit: least } = soak.devices[canvas.dataset.device];
    const points = series(colours, hours, "share", colours.blue);
    if (!points.data.length) return null;
    const low = Math.min(least ?? 1, ...points.data.map(({ whisker }) => whisker[0]));
    return {
      type: "scatter",
      data: { datasets: [points] },
      options: base(colours, timeScale(colours, "watched since the run began, h:mm:ss"),
        scale(colours, "detected", { ticks: shareTicks, rest: { min: Math.max(0, Math.floor(low * 20 - 0.2) / 20), max: 1, ...sameAxis } }),
        { callbacks: { label: ({ raw: { hour } }) =>
            `${percent(hour.share[1])}${ends(hour.share, percent)}, n = ${hour.n}` } }),
      plugins: [courseMarks(soak, colours), whiskers("y"), limitLines(limit(least), colours)],
    };
  };

  const dayHours = (canvas, colours) => {
    const styles = ["circle", "rect", "triangle", "rectRot", "star", "cross"];
    const hues = [colours.blue, colours.alarm, colours.wrong, colours.ink];
    const devices = soak.devices.filter(({ day }) => day.length);
    if (!devices.length) return null;
    const datasets = devices.map(({ name, day }, i) => ({
      label: name, pointStyle: styles[i % styles.length], pointRadius: 4, pointHoverRadius: 6, clip: false,
      borderColor: hues[i % hues.length], backgroundColor: hues[i % hues.length],
      // Beside one another, where several devices are heard.
      data: day.map(([hour, rate, alarms, quiet]) => ({
        x: hour + (i + 1) / (devices.length + 1), y: rate[1], whisker: [rate[0], rate[2]], hour, rate, alarms, quiet })),
    }));
    const all = datasets.flatMap(({ data: points }) => points);
    const highest = Math.max(3, ...all.map(({ y }) => 3 * y));
    const tallest = Math.max(...all.map(({ whisker }) => whisker[1]));
    for (const one of datasets) one.clip = { left: 8, right: 8, top: 0, bottom: 8 };
    const two = (hour) => String(hour).padStart(2, "0") + ":00";
    return {
      type: "scatter",
      data: { datasets },
      options: base(colours,
        scale(colours, "local time", { ticks: { callback: two, stepSize: 2 }, grid: { display: false }, rest: { min: 0, max: 24 } }),
        scale(colours, "alarms per hour", { rest: { min: 0, max: Math.min(1.05 * tallest, highest), ...sameAxis } }),
        { callbacks: { label: ({ raw }) =>
            `${two(raw.hour)}: ${raw.alarms} in ${three(raw.quiet)} h, ${three(raw.y)} per hour${ends(raw.rate, three)}` } },
        { legend: { display: devices.length > 1, align: "end", labels: { usePointStyle: true, color: colours.ink } } }),
      plugins: [whiskers("y")],
    };
  };

  return { hourRate, hourShare, dayHours };
};
