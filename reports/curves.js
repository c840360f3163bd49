"use strict";
(() => {
  if (!window.Chart) return;
  const plots = JSON.parse(document.getElementById("chart-data").textContent);
  let drawn = [];

  const colours = () => {
    const style = getComputedStyle(document.documentElement);
    const of = (name) => style.getPropertyValue("--" + name).trim();
    return { ink: of("ink"), faint: of("faint"), rule: of("rule"), curves: [of("blue"), of("fail")] };
  };

  const axis = (trace, position, colour, inks) => ({
    position,
    title: { display: true, text: trace.name + " / " + trace.unit, color: colour },
    ticks: { color: inks.faint, maxTicksLimit: 6 },
    grid: { color: inks.rule, drawOnChartArea: position === "left" },
  });

  const share = (inks) => ({
    min: 0,
    max: 1,
    title: { display: true, text: "answered by then", color: inks.faint },
    ticks: { color: inks.faint, callback: (value) => Math.round(100 * value) + " %" },
    grid: { color: inks.rule },
  });

  // Curves over time, each with its own axis; or, as steps, shares of one kind.
  const draw = (canvas) => {
    const inks = colours();
    const { time_axis: since, steps, traces } = plots[Number(canvas.dataset.chart)];
    const times = traces.flatMap((trace) => trace.points.map(([x]) => x));
    const scales = {
      x: {
        type: "linear",
        min: Math.min(...times),
        max: Math.max(...times),
        title: { display: true, text: since + " / ms", color: inks.faint },
        ticks: { color: inks.faint, maxTicksLimit: 8, includeBounds: false },
        grid: { color: inks.rule },
      },
    };
    if (steps) scales.y0 = share(inks);
    else traces.forEach((trace, i) => {
      scales["y" + i] = axis(trace, i === 0 ? "left" : "right", inks.curves[i], inks);
    });
    const datasets = traces.map((trace, i) => ({
      label: trace.name,
      yAxisID: steps ? "y0" : "y" + i,
      stepped: steps,
      data: trace.points.map(([x, y]) => ({ x, y })),
      borderColor: inks.curves[i],
      borderDash: i === 0 ? [] : [6, 3],
      borderWidth: 1.5,
      pointRadius: 0,
    }));
    drawn.push(new Chart(canvas, {
      type: "line",
      data: { datasets },
      options: {
        animation: false,
        maintainAspectRatio: false,
        parsing: false,
        interaction: { mode: "nearest", axis: "x", intersect: false },
        plugins: { legend: { display: traces.length > 1, labels: { color: inks.ink, boxHeight: 1 } } },
        scales,
      },
    }));
  };

  const redraw = () => {
    drawn.forEach((chart) => chart.destroy());
    drawn = [];
    document.querySelectorAll("canvas[data-chart]").forEach(draw);
  };
  Chart.defaults.font.family = getComputedStyle(document.body).fontFamily;
  document.documentElement.classList.add("charts");
  redraw();
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redraw);
})();
