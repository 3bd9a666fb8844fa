/* The page: each finding's lanes come to life when they are about to be seen; buttons, keys, readout. */
"use strict";
(() => {
  const MOMENT_S = 0.01;

  const seconds = (s) => {
    const size = Math.abs(s);
    const [factor, unit] = size >= 1 || size === 0 ? [1, "s"] : size >= 1e-3 ? [1e3, "ms"] : [1e6, "us"];
    return `${+(s * factor).toPrecision(7)} ${unit}`;
  };
  const degrees = (deg) => (Number.isNaN(deg) ? "no rotor seen" : `${deg.toFixed(1)}°`);
  const turned = (deg) => (Number.isNaN(deg) ? "no rotor seen" : `${(((deg % 360) + 360) % 360).toFixed(1)}°`);

  function readout(section, view) {
    const cell = (name) => section.querySelector(`[data-cell="${name}"]`);
    return () => {
      const {A, B} = view.cursors;
      for (const [name, t] of [["A", A], ["B", B]]) {
        cell(`${name}-time`).textContent = t === null ? "not set" : `${t.toFixed(7)} s`;
        cell(`${name}-angle`).textContent = t === null ? "" : turned(Data.angle(view.run, t));
      }
      const both = A !== null && B !== null;
      cell("difference-time").textContent = both
        ? `${seconds(B - A)}${B === A ? "" : ` (${Data.number(1 / Math.abs(B - A))} Hz)`}` : "";
      cell("difference-angle").textContent = both
        ? degrees(Data.angle(view.run, B) - Data.angle(view.run, A)) : "";
      for (const [name, t] of [["A", A], ["B", B]])
        if (t !== null && (t < view.from || t > view.to)) cell(`${name}-time`).textContent += ", outside of what is shown";
      cell("shown").textContent = `${seconds(view.to - view.from)} from ${view.from.toFixed(6)} s`;
    };
  }

  function electricalTurn(view) {
    const t = view.centre(), step = 2 * view.run.angle_step_s;
    const rate = Math.abs(Data.angle(view.run, t + step) - Data.angle(view.run, t - step)) / (2 * step);
    return rate > 1 ? 360 / rate : NaN;
  }

  function actions(section, view) {
    const say = (text) => { section.querySelector('[data-cell="said"]').textContent = text; };
    const select = section.querySelector("select");
    const pixel = () => (view.to - view.from) / view.plots[0].over.clientWidth;
    const place = (name) => {
      view.active = name;
      section.querySelector(`input[value="${name}"]`).checked = true;
      view.setCursor(name, view.pointer ?? view.centre());
    };
    const move = (by) => view.setCursor(view.active, (view.cursors[view.active] ?? view.centre()) + by * pixel());
    return {
      opened: () => view.show(...view.run.opens),
      whole: () => view.show(0, view.run.end_s),
      near: () => view.around(0.1, view.run.moment_s),
      turn: () => {
        const turn = electricalTurn(view);
        if (Number.isNaN(turn)) say("The rotor does not turn here: no electrical turn to show.");
        else view.around(turn);
      },
      period: () => view.around(1 / view.run.f_pwm_hz),
      closer: () => view.zoom(0.5),
      wider: () => view.zoom(2),
      earlier: () => view.pan(-0.25),
      later: () => view.pan(0.25),
      moment: () => view.around(Math.min(view.to - view.from, MOMENT_S), view.run.moment_s),
      go: (t) => {
        view.setCursor("A", t);
        view.around(Math.min(view.to - view.from, MOMENT_S), t);
        section.querySelector(".live").scrollIntoView();
        view.place.focus({preventScroll: true});
      },
      fit: () => {
        view.fit = section.querySelector('[data-act="fit"]').checked;
        view.show(view.from, view.to);
      },
      A: () => place("A"),
      B: () => place("B"),
      left: () => move(-1),
      right: () => move(1),
      clear: () => { view.setCursor("A", null); view.setCursor("B", null); },
      before: () => view.toEdge(select.value, -1),
      after: () => view.toEdge(select.value, 1),
      say,
    };
  }

  const KEYS = {
    o: "opened", w: "whole", h: "near", t: "turn", p: "period", "+": "closer", "=": "closer", "-": "wider", m: "moment",
    a: "A", b: "B", x: "clear", ",": "before", ".": "after", ArrowLeft: "earlier", ArrowRight: "later",
  };

  /* The time of an act becomes a button, and a click elsewhere in its row presses the first one. */
  function leads(time, act) {
    const button = document.createElement("button"), row = time.closest("tr");
    button.type = "button";
    button.textContent = time.textContent;
    button.title = "show it in the lanes, with cursor A";
    button.addEventListener("click", (event) => {
      event.stopPropagation();
      act.say("");
      act.go(Number(time.dataset.at));
    });
    time.replaceChildren(button);
    if (row.querySelector("[data-at]") === time)
      row.addEventListener("click", () => { if (getSelection().isCollapsed) button.click(); });
  }

  function equip(section, view) {
    const select = section.querySelector("select");
    for (const lane of view.run.lanes) {
      if (lane.kind === "curves") continue;
      const option = document.createElement("option");
      option.value = lane.key;
      option.textContent = lane.label;
      select.append(option);
    }
    const act = actions(section, view);
    section.querySelectorAll("button[data-act]").forEach((button) => {
      button.addEventListener("click", () => { act.say(""); act[button.dataset.act](); });
    });
    section.querySelector('[data-act="fit"]').addEventListener("change", act.fit);
    section.querySelectorAll('input[type="radio"]').forEach((radio) => {
      radio.addEventListener("change", () => { view.active = radio.value; });
    });
    section.querySelectorAll(".acts [data-at]").forEach((time) => leads(time, act));
    section.querySelector(".lanes").addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.altKey || event.metaKey) return;
      let name = KEYS[event.key];
      if (event.shiftKey && event.key === "ArrowLeft") name = "left";
      if (event.shiftKey && event.key === "ArrowRight") name = "right";
      if (!name) return;
      event.preventDefault();
      act.say("");
      act[name]();
    });
    view.listeners.push(readout(section, view));
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
      Draw.forget();
      view.show(view.from, view.to);
    });
  }

  async function wake(section) {
    try {
      const described = JSON.parse(section.querySelector(".described").textContent);
      const block = await Data.unpack(section.querySelector(".block").textContent);
      section.dataset.state = "live";
      const view = new View(section, Data.load(described, block));
      equip(section, view);
      view.show(...view.run.opens);
    } catch (problem) {
      section.dataset.state = "failed";
      section.querySelector(".problem").textContent =
        `The lanes could not be brought to life (${problem}); the drawings below show the same run. ` +
        "A browser of 2023 or later can do it.";
    }
  }

  const waiting = document.querySelectorAll("section.case[data-state=still]");
  const seen = new IntersectionObserver((entries) => {
    for (const entry of entries) {
      if (!entry.isIntersecting) continue;
      seen.unobserve(entry.target);
      wake(entry.target);
    }
  }, {rootMargin: "600px"});
  waiting.forEach((section) => seen.observe(section));
})();
