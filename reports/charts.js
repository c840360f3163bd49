"use strict";
// What the charts of the pages share: colours, marks, scales, and when they are drawn.
const chartParts = () => {
  const root = document.documentElement;

  // ----- Colours and words

  const palette = () => {
    const style = getComputedStyle(root);
    const of = (name) => style.getPropertyValue("--" + name).trim();
    return Object.fromEntries(
      ["paper", "ink", "faint", "rule", "blue", "wrong", "alarm"].map((name) => [name, of(name)]));
  };
  const percent = (share) => +(100 * share).toPrecision(4) + " %";
  const grouped = (number) =>
    (number < 10000 ? String(number) : String(number).replace(/\B(?=(\d{3})+$)/g, "\u202f"));
  const shortened = (text) => (text.length > 22 ? text.slice(0, 21) + "…" : text);
  const clock = (seconds) => {
    const s = Math.round(seconds);
    const two = (value) => String(value).padStart(2, "0");
    return Math.floor(s / 3600) + ":" + two(Math.floor(s / 60) % 60) + ":" + two(s % 60);
  };

  // ----- Marks that the chart library does not have

  // Intervals: a point's data may carry whisker = [low, high] along `axis`. An end that lies outside
  // the scale has no bar across.
  const whiskers = (axis) => ({
    id: "whiskers",
    beforeDatasetsDraw(chart) {
      const { ctx, scales, chartArea: area } = chart;
      const [least, most] = axis === "x" ? [area.left, area.right] : [area.top, area.bottom];
      const inside = (pixel) => Math.min(Math.max(pixel, least), most);
      chart.data.datasets.forEach((dataset, index) => {
        chart.getDatasetMeta(index).data.forEach((point, i) => {
          const whisker = dataset.data[i].whisker;
          if (!whisker) return;
          const ends = whisker.map((value) => scales[axis].getPixelForValue(value));
          const [low, high] = ends.map(inside);
          ctx.save();
          ctx.strokeStyle = dataset.borderColor;
          ctx.lineWidth = 2;
          ctx.beginPath();
          for (const end of ends.filter((one) => Math.abs(one - inside(one)) < 1)) {
            if (axis === "x") { ctx.moveTo(end, point.y - 5); ctx.lineTo(end, point.y + 5); }
            else { ctx.moveTo(point.x - 5, end); ctx.lineTo(point.x + 5, end); }
          }
          if (axis === "x") { ctx.moveTo(low, point.y); ctx.lineTo(high, point.y); }
          else { ctx.moveTo(point.x, low); ctx.lineTo(point.x, high); }
          ctx.stroke();
          ctx.restore();
        });
      });
    },
  });

  // Limits: dashed lines with their words, lines = [{axis, value, text}].
  const limitLines = (lines, colours) => ({
    id: "limitLines",
    afterDatasetsDraw(chart) {
      const { ctx, chartArea: area, scales } = chart;
      ctx.save();
      ctx.strokeStyle = ctx.fillStyle = colours.ink;
      ctx.font = "12px " + Chart.defaults.font.family;
      ctx.lineWidth = 1.5;
      lines.forEach(({ axis, value, text }, i) => {
        const at = scales[axis].getPixelForValue(value);
        ctx.setLineDash([5, 4]);
        ctx.beginPath();
        if (axis === "x") { ctx.moveTo(at, area.top); ctx.lineTo(at, area.bottom); }
        else { ctx.moveTo(area.left, at); ctx.lineTo(area.right, at); }
        ctx.stroke();
        if (!text) return;
        const toLeft = axis === "x" && at > area.left + area.width / 2;
        ctx.textAlign = toLeft ? "right" : "left";
        ctx.textBaseline = "bottom";
        if (axis === "x") ctx.fillText(text, at + (toLeft ? 4 : -4), area.top - 4 - 15 * i);
        else ctx.fillText(text, area.left + 6, at - area.top < 18 ? at + 16 : at - 3);
      });
      ctx.restore();
    },
  });

  // What else happened, along the time: holes as lines with their words, disturbances as bands.
  const courseMarks = ({ holes, disturbed }, colours) => ({
    id: "courseMarks",
    beforeDatasetsDraw(chart) {
      const { ctx, chartArea: area, scales: { x } } = chart;
      ctx.save();
      ctx.fillStyle = colours.rule;
      for (const [from, to] of disturbed) {
        const left = Math.max(area.left, x.getPixelForValue(from));
        const right = Math.min(area.right, Math.max(x.getPixelForValue(to), left + 2));
        if (right > left) ctx.fillRect(left, area.top, right - left, area.bottom - area.top);
      }
      ctx.strokeStyle = ctx.fillStyle = colours.ink;
      ctx.font = "12px " + Chart.defaults.font.family;
      ctx.lineWidth = 3;
      ctx.setLineDash([2, 3]);
      let free = area.left;
      for (const [at, text] of holes) {
        const line = x.getPixelForValue(at);
        ctx.beginPath();
        ctx.moveTo(line, area.top);
        ctx.lineTo(line, area.bottom);
        ctx.stroke();
        const width = ctx.measureText(text).width;
        const left = Math.min(line, area.right - width);
        if (left < free) continue;  // no room: the words stand below the chart
        ctx.textAlign = "left";
        ctx.textBaseline = "bottom";
        ctx.fillText(text, left, area.top - 4);
        free = left + width + 8;
      }
      ctx.restore();
    },
  });

  // ----- What all charts share

  const scale = (colours, title, more) => ({
    title: { display: Boolean(title), text: title, color: colours.faint },
    ticks: { color: colours.faint, maxRotation: 0, autoSkipPadding: 14, includeBounds: false,
             ...(more.ticks || {}) },
    grid: { color: colours.rule, borderColor: colours.faint, ...(more.grid || {}) },
    border: { color: colours.faint },
    ...more.rest,
  });

  const base = (colours, x, y, tooltip, plugins = {}) => ({
    animation: false,
    responsive: true,
    maintainAspectRatio: false,
    devicePixelRatio: Math.max(2, window.devicePixelRatio || 1),
    layout: { padding: { top: 22, right: 8 } },
    scales: { x, y },
    plugins: { legend: { display: false }, tooltip, ...plugins },
  });

  const shareTicks = { callback: (value) => percent(value), includeBounds: true };
  const wholeTicks = { callback: grouped, precision: 0 };
  const rowsHeight = (canvas, rows) => { canvas.parentElement.style.height = 84 + 34 * rows + "px"; };

  // ----- Drawing, and drawing again for another colour scheme or for paper

  // Draws every canvas that names one of `makers` in data-chart: (canvas, colours) -> configuration, or null for
  // nothing to show.
  const show = (makers) => {
    let drawn = [];
    const draw = () => {
      drawn.forEach((chart) => chart.destroy());
      drawn = [];
      const colours = palette();
      Chart.defaults.font.family = getComputedStyle(document.body).fontFamily;
      for (const canvas of document.querySelectorAll("canvas[data-chart]")) {
        const config = makers[canvas.dataset.chart](canvas, colours);
        canvas.parentElement.classList.toggle("empty", !config);
        if (config) drawn.push(new Chart(canvas, config));
      }
    };

    root.classList.add("charts");
    draw();
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);

    let opened = [];
    addEventListener("beforeprint", () => {
      opened = [...document.querySelectorAll("details:not([open], [data-print])")];
      opened.forEach((one) => { one.open = true; });
      root.classList.add("paper");
      draw();
    });
    addEventListener("afterprint", () => {
      opened.forEach((one) => { one.open = false; });
      root.classList.remove("paper");
      draw();
    });
  };

  return { percent, grouped, shortened, clock, whiskers, limitLines, courseMarks, scale, base, shareTicks, wholeTicks, rowsHeight,
           show };
};
