// Charts, the strip's reading line, the day explorer and uploads. The pages work without it.
"use strict";

(() => {
  const all = (selector, root = document) => [...root.querySelectorAll(selector)];
  const json = (element) => JSON.parse(element.textContent);

  // ---- Figures: loaded when they come near, in the colours that hold at that moment ----

  // The chart program writes a style sheet for maps into the page, which the pages' policy forbids
  // and no figure needs; it does not where an element of this name is there.
  const MAP_STYLES = "9f215cf04c5486422605d13261cb87401f4e7763b6296af81e98efbc0130da53";

  let plotly;
  const withPlotly = () => {
    if (window.Plotly) return Promise.resolve(window.Plotly);
    plotly ??= new Promise((done, failed) => {
      const none = document.createElement("meta");
      none.id = MAP_STYLES;
      document.head.append(none);
      const script = document.createElement("script");
      script.src = "/static/plotly.min.js";
      script.onload = () => done(window.Plotly);
      script.onerror = () => failed(new Error("the chart program did not load"));
      document.head.append(script);
    });
    return plotly;
  };

  const coloured = (value, style) => {
    if (typeof value === "string") {
      return value.replace(/var\((--[a-z-]+)\)/g, (_, name) => style.getPropertyValue(name).trim());
    }
    if (Array.isArray(value)) return value.map((item) => coloured(item, style));
    if (value && typeof value === "object") {
      return Object.fromEntries(
        Object.entries(value).map(([key, item]) => [key, coloured(item, style)]),
      );
    }
    return value;
  };

  const figures = new Map();
  // On a phone a long legend stands under the curves, so that they are seen first.
  const narrow = ({ data, layout }, box) => {
    if (box.clientWidth > 520) return layout;
    const named = data.filter((trace) => trace.showlegend !== false).length;
    const below = named > 4 ? { y: -0.06, yanchor: "top" } : {};
    return {
      ...layout,
      height: layout.height + (named > 4 ? 16 * named : 0),
      legend: { ...layout.legend, ...below, font: { ...layout.legend?.font, size: 12 } },
      margin: { ...layout.margin, t: named > 4 ? 12 : layout.margin.t },
    };
  };

  // A figure that did not come with the page is asked for once; a page shows few of them.
  const asked = new Map();
  const load = (source) => {
    if (!asked.has(source)) {
      const answered = fetch(source).then((answer) => {
        if (!answer.ok) throw new Error(answer.statusText || `status ${answer.status}`);
        return answer.json();
      });
      answered.catch(() => asked.delete(source));
      asked.set(source, answered);
    }
    return asked.get(source);
  };
  const figureOf = async (box) => {
    const { source, plot } = box.dataset;
    if (!source) return figures.get(plot);
    const content = await load(source);
    return content.figure ?? content;
  };

  const draw = async (box) => {
    const { source } = box.dataset;
    try {
      const figure = await figureOf(box);
      if (!figure || box.dataset.source !== source) return;
      const Plotly = await withPlotly();
      const style = getComputedStyle(document.documentElement);
      const { data, layout } = coloured(figure, style);
      box.querySelector(".wait")?.remove();
      const config = { displayModeBar: false, responsive: true };
      const fitted = narrow({ data, layout }, box);
      // When the window changes, the chart program takes the box's own height; without one the
      // panels below would be cut off, on a phone as soon as its address bar hides.
      box.style.height = fitted.height ? `${fitted.height + 2}px` : "";
      await Plotly.react(box, data, fitted, config);
      box.dataset.drawn = "yes";
    } catch (error) {
      const wait = box.querySelector(".wait");
      if (wait) wait.textContent = `The figure could not be drawn: ${error.message}.`;
    }
  };

  // A message belongs to the step just made; a reload must not tell it again.
  const here = new URL(location.href);
  if (here.searchParams.has("message")) {
    here.searchParams.delete("message");
    history.replaceState(null, "", here);
  }

  // Where somebody has to sign in, no page is kept that was opened on a visit before.
  if (location.pathname === "/sign-in") window.caches?.delete("suntally-visits");

  const boxes = all("[data-plot]");
  const showSource = (name, source) => {
    const shown = boxes.filter((box) => box.dataset.plot === name);
    shown.forEach((box) => { box.dataset.source = source; });
    return Promise.all(shown.map(draw));
  };
  all("[data-switch] input").forEach((input) => {
    const name = input.closest("[data-switch]").dataset.switch;
    const source = boxes.find((box) => box.dataset.plot === name)?.dataset.source;
    if (!source) return;
    input.addEventListener("change", () =>
      showSource(name, source.replace(/[^/]+$/, input.value)));
  });
  all("script[data-figure]").forEach((element) => {
    const content = json(element);
    const first = content.data ? content : content.month ?? Object.values(content)[0];
    figures.set(element.dataset.figure, first);
    if (!content.data) {
      const name = element.dataset.figure;
      all(`[data-switch="${name}"] input`).forEach((input) =>
        input.addEventListener("change", () => {
          figures.set(name, content[input.value]);
          boxes.filter((box) => box.dataset.plot === name).forEach(draw);
        }),
      );
    }
  });

  const near = new IntersectionObserver(
    (entries) =>
      entries
        .filter((entry) => entry.isIntersecting)
        .forEach((entry) => {
          near.unobserve(entry.target);
          draw(entry.target);
        }),
    { rootMargin: "500px" },
  );
  boxes.forEach((box) => near.observe(box));
  const redraw = () => boxes.filter((box) => box.dataset.drawn).forEach(draw);
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redraw);
  addEventListener("beforeprint", () => boxes.forEach(draw));
  // Asked for ahead, so that a sheet can be printed without scrolling through it first.
  addEventListener("load", () =>
    boxes.forEach(({ dataset: { source } }) => source && load(source).catch(() => {})));

  // ---- The strip: a line of text follows the pointer, a press opens the day ----

  const dayAfter = (first, count) => {
    const when = new Date(`${first}T12:00:00Z`);
    when.setUTCDate(when.getUTCDate() + count);
    return when;
  };
  const dayWords = (when) =>
    when.toLocaleDateString("en-GB", {
      weekday: "short", day: "numeric", month: "long", year: "numeric", timeZone: "UTC",
    }).replace(",", "");
  const kwh = (value) => (value === null ? "not known" : `${value.toFixed(1)} kWh`);

  const strip = (figure) => {
    const days = json(figure.querySelector(".strip-days"));
    const says = figure.querySelector("[data-readout]");
    const dayAt = (svg, event) => {
      const box = svg.getBoundingClientRect();
      const scale = svg.viewBox.baseVal.width / box.width;
      const x = (event.clientX - box.left) * scale;
      const y = (event.clientY - box.top) * scale;
      const rows = svg.dataset.rows.split(" ").map((row) => row.split(":"));
      const row = rows.find(([, , top, bottom]) => y >= +top && y <= +bottom);
      if (!row) return null;
      const offset = Math.floor(x / +svg.dataset.pitch);
      if (offset < 0 || offset >= +row[1]) return null;
      const start = Math.round((Date.parse(row[0]) - Date.parse(days.first)) / 86400000);
      return start + offset;
    };
    all("svg[data-strip]", figure).forEach((svg) => {
      svg.addEventListener("pointermove", (event) => {
        const index = dayAt(svg, event);
        if (index === null) return;
        const name = dayWords(dayAfter(days.first, index));
        const covered = days.coverage[index];
        if (covered === null) says.textContent = `${name}: no log of this day`;
        else if (days.delivered[index] === null) says.textContent = `${name}: not measured`;
        else {
          says.textContent =
            `${name}: delivered ${kwh(days.delivered[index])}, ` +
            `expected ${kwh(days.expected[index])}` +
            (covered < 0.95 ? `, ${Math.floor(covered * 100)} % of the day measured` : "");
        }
      });
      svg.addEventListener("click", (event) => {
        if (event.target.closest("a")) return;
        const index = dayAt(svg, event);
        if (index === null || days.coverage[index] === null) return;
        const when = dayAfter(days.first, index).toISOString().slice(0, 10);
        showDay(when);
        document.getElementById("day")?.scrollIntoView();
      });
    });
  };
  all("figure").filter((figure) => figure.querySelector(".strip-days")).forEach(strip);

  // ---- One day, hour by hour ----

  const form = document.querySelector("[data-day-form]");
  const showDay = async (when) => {
    if (!form) return;
    const input = form.querySelector("input[name=day]");
    if (when < input.min || when > input.max) return;
    input.value = when;
    const says = document.querySelector("[data-day-says]");
    const address = new URL(form.getAttribute("action"), location.href);
    try {
      const source = `${address.pathname}/day/${when}`;
      const day = await load(source);
      if (input.value !== when) return;
      says.textContent = day.says;
      showSource("day", source);
      history.replaceState(null, "", `?day=${when}#day`);
    } catch (error) {
      says.textContent = `This day could not be loaded: ${error.message}.`;
    }
  };
  form?.addEventListener("submit", (event) => {
    event.preventDefault();
    showDay(form.querySelector("input[name=day]").value);
  });
  form?.querySelector("input[name=day]").addEventListener("change", (event) =>
    showDay(event.target.value),
  );
  all("[data-day-step]").forEach((link) =>
    link.addEventListener("click", (event) => {
      event.preventDefault();
      const now = form.querySelector("input[name=day]").value;
      showDay(dayAfter(now, +link.dataset.dayStep).toISOString().slice(0, 10));
    }),
  );

  // ---- Uploads: one request a file, with progress, then the worker's answer ----

  const uploadForm = document.querySelector("[data-upload-form]");
  const list = document.querySelector("[data-uploads]");
  const text = (tag, words, name = "") => {
    const element = document.createElement(tag);
    element.textContent = words;
    element.className = name;
    return element;
  };
  const place = (problem) =>
    [
      problem.file,
      problem.line ? `line ${problem.line}` : "",
      problem.column ? `column ${problem.column}` : "",
    ].filter(Boolean).join(", ");

  // The name stands above already, so that the message begins after it.
  const refusal = ({ name, message }) => {
    const bare = message.startsWith(`${name}: `) ? message.slice(name.length + 2) : message;
    return `Refused: ${bare}${/[.!?]$/.test(bare) ? "" : "."}`;
  };

  const fill = (item, upload) => {
    const words = item.querySelector("[data-words]");
    const rows = upload.rows ?? {};
    const count = (name) => (rows[name] ?? 0).toLocaleString("en");
    if (upload.state === "stored" && item.dataset.again) {
      words.textContent = "Already here: the same file was handed in before. Nothing changed.";
      return;
    }
    if (upload.state === "stored") {
      words.textContent =
        `Read: ${count("read")} ${rows.read === 1 ? "row" : "rows"}, ${count("kept")} new, ` +
        `${count("duplicate")} doubled, ${count("rejected")} set aside. ` +
        "The page follows when it is analysed.";
    } else if (upload.state === "refused") words.textContent = refusal(upload);
    else if (upload.state === "asking") {
      const look = text("a", "Look and answer", "button");
      look.href = `${uploadForm.getAttribute("action")}/${upload.id}`;
      words.textContent = `Nothing of it is stored yet: ${upload.message}. `;
      words.append(document.createElement("br"), look);
    }
    else words.textContent = "Safely kept; being read.";
    item.dataset.state = upload.state;
    item.querySelector("ul")?.remove();
    if (upload.problems?.length) {
      const problems = text("ul", "", "wide small");
      upload.problems.slice(0, 20).forEach((problem) => {
        const line = document.createElement("li");
        line.append(text("strong", place(problem)), `: ${problem.why}`);
        problems.append(line);
      });
      item.append(problems);
    }
  };

  const follow = async (item, address) => {
    for (let tries = 0; tries < 600; tries += 1) {
      const answer = await fetch(address);
      if (!answer.ok) break;
      const upload = await answer.json();
      fill(item, upload);
      if (upload.state !== "kept") return upload.state;
      await new Promise((done) => setTimeout(done, 700));
    }
    return "unknown";
  };

  const send = (file, target) =>
    new Promise((done) => {
      const item = document.createElement("li");
      const bar = document.createElement("progress");
      bar.max = 1;
      bar.value = 0;
      bar.className = "wide";
      bar.setAttribute("aria-label", `Sending ${file.name}`);
      const words = text("span", "Sending…", "small wide");
      words.dataset.words = "";
      item.append(text("span", file.name, "name"), text("span", "now", "small quiet"), bar, words);
      list.prepend(item);
      document.querySelector("[data-none]")?.remove();
      const request = new XMLHttpRequest();
      request.open("POST", target);
      request.setRequestHeader("Accept", "application/json");
      request.upload.onprogress = (event) => {
        if (event.lengthComputable) bar.value = event.loaded / event.total;
      };
      request.onload = async () => {
        bar.remove();
        let answer = {};
        try {
          answer = JSON.parse(request.responseText);
        } catch {
          answer = {};
        }
        if (request.status === 408) {
          words.textContent = `It did not arrive. ${answer.detail ?? ""}`;
          done("lost");
          return;
        }
        if (request.status >= 400) {
          words.textContent = `Refused: ${answer.detail ?? request.statusText}`;
          done("refused");
          return;
        }
        const upload = answer.uploads?.[0] ?? answer;
        if (document.querySelector(`li[data-upload="${upload.id}"][data-state="stored"]`)) {
          item.dataset.again = "yes";
        }
        fill(item, upload);
        done(upload.state === "kept" && upload.status_url
          ? await follow(item, upload.status_url)
          : item.dataset.again ? "again" : upload.state);
      };
      request.onerror = () => {
        bar.remove();
        words.textContent = "It did not arrive. Check the connection and hand it in again.";
        done("lost");
      };
      const body = new FormData();
      body.append("file", file);
      request.send(body);
    });

  // Many files: one bar while they are sent, one summary, and only what wants a look by name.
  const post = (file) => {
    const body = new FormData();
    body.append("file", file);
    return fetch(uploadForm.dataset.target, {
      method: "POST", body, headers: { Accept: "application/json" },
    });
  };
  const many = (count, one, more) => `${count.toLocaleString("en")} ${count === 1 ? one : more}`;
  const summary = (told, given) => {
    const words = [];
    const say = (state, text) => told.states[state] && words.push(`${told.states[state]} ${text}`);
    say("stored", "stored");
    say("kept", "being read");
    say("asking", "waiting for your answer");
    say("refused", "refused");
    if (given.again) words.push(`${given.again} here already`);
    if (given.lost) words.push(`${given.lost} did not arrive`);
    return (
      `${many(given.all, "file", "files")}: ${words.join(", ")}. ` +
      `${many(told.rows_read, "row", "rows")} read, ${many(told.rows_kept, "new one", "new ones")}, ` +
      `${many(told.rows_rejected, "set aside", "set aside")}.`
    );
  };
  const showWanting = (uploads) => {
    uploads.forEach((upload) => {
      let item = list.querySelector(`li[data-upload="${upload.id}"]`);
      if (!item) {
        item = document.createElement("li");
        item.dataset.upload = upload.id;
        const words = text("span", "", "small wide");
        words.dataset.words = "";
        item.append(text("span", upload.name, "name"), text("span", "", "standing"), words);
        list.prepend(item);
      }
      if (item.dataset.state === upload.state) return;
      fill(item, upload);
    });
  };
  const sendMany = async (files) => {
    const batch = document.querySelector("[data-batch]");
    const says = batch.querySelector("[data-batch-says]");
    const bar = batch.querySelector("[data-batch-bar]");
    batch.hidden = false;
    bar.max = files.length;
    bar.hidden = false;
    const ids = new Set();
    const given = { all: files.length, again: 0, lost: 0 };
    const queue = [...files];
    let done = 0;
    const work = async () => {
      for (let file = queue.shift(); file; file = queue.shift()) {
        try {
          const answer = await post(file);
          if (!answer.ok) throw new Error(answer.statusText);
          const { uploads } = await answer.json();
          uploads.forEach((upload) => {
            if (upload.state === "kept") ids.add(upload.id);
            else given.again += 1;
          });
        } catch {
          given.lost += 1;
        }
        done += 1;
        bar.value = done;
        says.textContent = `Handing in: ${done} of ${files.length} files.`;
      }
    };
    await Promise.all([work(), work(), work()]);
    const address = uploadForm.dataset.target.replace(/logs$/, "uploads/summary");
    let told = { states: {}, rows_read: 0, rows_kept: 0, rows_rejected: 0, wanting: [] };
    for (let tries = 0; ids.size && tries < 3000; tries += 1) {
      const answer = await fetch(`${address}?ids=${[...ids].join(",")}`);
      if (!answer.ok) break;
      told = await answer.json();
      bar.value = files.length - (told.states.kept ?? 0);
      says.textContent = summary(told, given);
      showWanting(told.wanting);
      if (!told.states.kept) break;
      await new Promise((next) => setTimeout(next, 900));
    }
    bar.hidden = true;
    says.textContent = summary(told, given);
    document.querySelector("[data-none]")?.remove();
  };

  const sendAll = async (files) => {
    if (files.length > 3) {
      await sendMany(files);
      return;
    }
    const states = [];
    for (const file of files) states.push(await send(file, uploadForm.dataset.target));
    if (states.includes("stored")) document.body.dataset.follow = "";
  };
  if (uploadForm) {
    const drop = uploadForm.querySelector("[data-drop]");
    const input = uploadForm.querySelector("input[type=file]");
    uploadForm.addEventListener("submit", (event) => {
      event.preventDefault();
      sendAll([...input.files]);
      uploadForm.reset();
    });
    ["dragenter", "dragover"].forEach((name) =>
      drop.addEventListener(name, (event) => {
        event.preventDefault();
        drop.classList.add("over");
      }),
    );
    ["dragleave", "drop"].forEach((name) =>
      drop.addEventListener(name, () => drop.classList.remove("over")),
    );
    drop.addEventListener("drop", (event) => {
      event.preventDefault();
      sendAll([...event.dataTransfer.files]);
    });
  }

  // ---- A log before it counts: the plot follows every answer ----

  const preview = document.querySelector("[data-preview]");
  if (preview) {
    const families = json(preview.querySelector("[data-families]"));
    const problem = document.querySelector("[data-preview-problem]");
    all("[data-no-script]", preview).forEach((button) => button.remove());
    const fitUnits = (column, changed) => {
      const unit = column.querySelector("[data-unit]");
      const family = families[column.querySelector("[data-channel]").value];
      all("optgroup", unit).forEach((group) => {
        group.hidden = group.disabled = group.dataset.family !== family;
      });
      unit.disabled = !family;
      if (!changed) return;
      const printed = all("option", unit).find(
        (option) => option.value === unit.dataset.printed && option.value && !option.parentElement.disabled,
      );
      unit.value = "";
      if (printed) printed.selected = true;
    };
    const columns = all("[data-column]", preview);
    columns.forEach((column) => fitUnits(column, false));
    let asking = false;
    let changed = false;
    const ask = async () => {
      const body = new URLSearchParams([...new FormData(preview), ["do", "plot"]]);
      try {
        const answer = await fetch(preview.getAttribute("action"), {
          method: "POST", body,
        });
        if (!answer.ok) throw new Error(answer.statusText);
        const told = await answer.json();
        if (changed) return;
        problem.hidden = !told.problem;
        problem.textContent = told.problem ?? "";
        if (!told.columns) return;
        preview.querySelector("[data-preview-says]").textContent = told.says;
        const aside = document.createRange().createContextualFragment(told.set_aside);
        preview.querySelector("[data-preview-aside]").replaceChildren(aside);
        preview.querySelector("[data-preview-open]").textContent = told.open;
        preview.querySelector("[data-preview-shown]").textContent = told.shown;
        preview.querySelector("[data-preview-left]").hidden = !told.left;
        preview.querySelector("[data-preview-known]").hidden = !told.anything;
        preview.querySelector("[data-preview-nothing]").hidden = told.anything;
        figures.set("preview", told.figure);
        if (told.left) figures.set("left", told.left);
        columns.forEach((column) => {
          const now = told.columns[column.dataset.column];
          if (!now) return;
          column.className = `column ${now.mood}`;
          column.querySelector("[data-sure]").textContent = now.sure;
          column.querySelector("[data-values]").textContent = now.values;
        });
        boxes.filter((box) => ["preview", "left"].includes(box.dataset.plot)).forEach(draw);
      } catch (error) {
        problem.hidden = false;
        problem.textContent = `The plot could not follow: ${error.message}.`;
      }
    };
    // Each answer reads the whole log: of changes meanwhile only the last is asked, and afterwards.
    const follow = async () => {
      changed = true;
      if (asking) return;
      asking = true;
      while (changed) {
        changed = false;
        await ask();
      }
      asking = false;
    };
    preview.addEventListener("change", (event) => {
      const column = event.target.closest("[data-column]");
      if (column && event.target.matches("[data-channel]")) fitUnits(column, true);
      follow();
    });
  }

  // ---- A site file dropped onto its text field ----

  all("[data-site-file]").forEach((input) =>
    input.addEventListener("change", async () => {
      const field = document.getElementById(input.dataset.siteFile);
      const file = input.files[0];
      if (!file) return;
      const fits = file.size <= 200_000;
      input.setCustomValidity(fits ? "" : "This is too large for a site file; is it a log?");
      if (fits) field.value = await file.text();
      else input.reportValidity();
    }),
  );

  // ---- Pages that wait for the worker look again by themselves ----

  // Such a page calls nobody back who is on the way to another one, and does not take itself away
  // from under a hand.
  let leftAt = -Infinity;
  let touchedAt = -Infinity;
  addEventListener("beforeunload", () => {
    leftAt = performance.now();
  });
  ["pointerdown", "pointerup", "keydown", "wheel", "touchmove"].forEach((kind) =>
    addEventListener(kind, () => (touchedAt = performance.now()), { capture: true, passive: true }),
  );
  const busy = () => {
    const now = performance.now();
    if (now - leftAt < 20_000 || now - touchedAt < 4000) return true;
    if (document.activeElement?.matches("input:not([type=file]), textarea, select")) return true;
    return document.querySelector("[data-uploads] progress") !== null;
  };
  setInterval(() => {
    if (document.body.dataset.follow === undefined || document.hidden || busy()) return;
    if (navigator.onLine) location.reload();
  }, 2500);
})();
