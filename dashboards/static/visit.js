// Visits on a phone: what is typed is kept in the browser at once and sent when there is a
// connection. Each save gets its key before it is sent for the first time, so that the service
// counts it once however often it is sent. The pages work without this, with a connection.
"use strict";

(() => {
  const who = document.body.dataset.who;
  const visit = Number(document.body.dataset.visit) || null;
  const form = document.querySelector("[data-visit-form]");
  const status = document.querySelector("[data-sync]");
  const all = (selector, root = document) => [...root.querySelectorAll(selector)];
  const PAGES = "suntally-visits"; // as in the worker
  const QUIET_MS = 2000;
  const AGAIN_MS = 15000;
  const LONGEST_SIDE_PX = 2000;

  // ---- The keeping place: drafts (typed, not sent), saves (on their way), photos ----

  const opened = new Promise((done, failed) => {
    if (!window.indexedDB) return failed(new Error("no place to keep drafts"));
    const request = indexedDB.open("suntally-visits", 1);
    request.onupgradeneeded = () => {
      request.result.createObjectStore("drafts", { keyPath: ["who", "visit"] });
      request.result.createObjectStore("saves", { keyPath: "key" });
      request.result.createObjectStore("photos", { keyPath: "key" });
    };
    request.onsuccess = () => done(request.result);
    request.onerror = () => failed(request.error);
  });

  // Runs `work` in one transaction; what it asks for is all stored, or nothing of it.
  const within = async (stores, work) => {
    const db = await opened;
    return new Promise((done, failed) => {
      const transaction = db.transaction(stores, "readwrite", { durability: "strict" });
      let result;
      transaction.oncomplete = () => done(result);
      transaction.onerror = transaction.onabort = () => failed(transaction.error);
      const ask = (request, then) => {
        request.onsuccess = () => then?.(request.result);
      };
      work((name) => transaction.objectStore(name), ask, (value) => {
        result = value;
      });
    });
  };

  const everything = (name) =>
    within([name], (store, ask, give) => ask(store(name).getAll(), give)).then((found) =>
      found.filter((one) => one.who === who),
    );

  const fresh = (number) => ({ who, visit: number, pending: {}, kept: {}, finished_at: null });
  const newKey = () => {
    if (crypto.randomUUID) return crypto.randomUUID();
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    bytes[6] = (bytes[6] & 15) | 64;
    bytes[8] = (bytes[8] & 63) | 128;
    const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
    return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
  };

  const note = (change) =>
    within(["drafts"], (store, ask) =>
      ask(store("drafts").get([who, visit]), (found) => {
        const draft = found ?? fresh(visit);
        change(draft);
        store("drafts").put(draft);
      }),
    );

  // What was typed becomes a save with a key, in one step with leaving the draft.
  const stage = (number) =>
    within(["drafts", "saves"], (store, ask) =>
      ask(store("drafts").get([who, number]), (draft) => {
        if (!draft || (!Object.keys(draft.pending).length && !draft.finished_at)) return;
        store("saves").put({
          key: newKey(),
          who,
          visit: number,
          at: Date.now(),
          fields: Object.entries(draft.pending).map(([field, typed]) => ({ field, ...typed })),
          finished_at: draft.finished_at,
        });
        Object.assign(draft.kept, draft.pending);
        draft.pending = {};
        draft.finished_at = null;
        store("drafts").put(draft);
      }),
    );

  // ---- What the form shows ----

  // The form's fields, wherever on the page they stand.
  const fields = (name) => all(`[name="${CSS.escape(name)}"]`).filter((one) => one.form === form);
  const setField = (name, value) => {
    fields(name).forEach((input) => {
      if (input.type === "radio") input.checked = input.value === value;
      else if (input !== document.activeElement) input.value = value;
    });
  };
  const showProblems = (problems) =>
    all("[data-wrong]").forEach((place) => {
      const said = problems[place.dataset.wrong];
      place.hidden = !said;
      place.textContent = said ?? "";
      fields(place.dataset.wrong).forEach((input) =>
        said ? input.setAttribute("aria-invalid", "true") : input.removeAttribute("aria-invalid"),
      );
    });
  const say = (mood, words, link) => {
    if (!status) return;
    status.dataset.mood = mood;
    const text = status.querySelector("[data-sync-words]");
    if (text.textContent !== words) text.textContent = words;
    const anchor = status.querySelector("a");
    anchor.hidden = !link;
    if (link) anchor.href = link;
    status.hidden = mood === "still" && !visit;
  };
  const problem = document.querySelector("[data-visit-problem]");
  const tellProblem = (words) => {
    if (!problem) return;
    problem.hidden = !words;
    problem.textContent = words ?? "";
    if (words) problem.scrollIntoView({ block: "center" });
  };

  // ---- Sending ----

  class Waits extends Error {}
  const OFFLINE = "No connection. What you type is kept on this phone and sent by itself later.";

  const post = async (address, body, type) => {
    let answer;
    try {
      answer = await fetch(address, {
        method: "POST", body, headers: { "Content-Type": type, Accept: "application/json" },
      });
    } catch {
      throw new Waits("offline");
    }
    if (answer.status === 401) throw new Waits("sign-in");
    if (answer.status === 408) throw new Waits("slow");
    if (answer.status >= 500 || answer.status === 429) throw new Waits("busy");
    let told = {};
    try {
      told = await answer.json();
    } catch {
      if (answer.ok) throw new Waits("busy"); // something between us and the service answered
    }
    return { ok: answer.ok, told };
  };

  const forget = (name, key) => within([name], (store) => store(name).delete(key));
  const refuse = (name, one, why) =>
    within([name], (store) => store(name).put({ ...one, problem: why }));

  const sendSave = async (save) => {
    const body = JSON.stringify({
      key: save.key,
      sent_at: new Date().toISOString(),
      fields: save.fields,
      finished_at: save.finished_at,
    });
    const { ok, told } = await post(`/api/visits/${save.visit}/saves`, body, "application/json");
    if (!ok) {
      await refuse("saves", save, told.detail ?? "The service does not take this.");
      return null;
    }
    await forget("saves", save.key);
    return told;
  };

  const sendPhoto = async (photo) => {
    const address = `/api/visits/${photo.visit}/photos?key=${photo.key}`;
    const { ok, told } = await post(address, photo.blob, photo.blob.type || "image/jpeg");
    if (ok) {
      await forget("photos", photo.key);
      return true;
    }
    await refuse("photos", photo, told.detail ?? "The service does not take this photo.");
    return false;
  };

  // The page as the service has it now, for the next time without a connection.
  const keepPage = async () => {
    if (!visit || !window.caches || !navigator.serviceWorker?.controller) return false;
    try {
      const answer = await fetch(location.pathname, { headers: { Accept: "text/html" } });
      if (!answer.ok || answer.redirected) return false;
      await (await caches.open(PAGES)).put(location.pathname, answer);
      return true;
    } catch {
      return false;
    }
  };

  const settle = async () => {
    const done = await keepPage();
    if (!done && navigator.serviceWorker?.controller) return;
    await note((draft) => {
      draft.kept = {};
    });
  };

  const apply = async (told) => {
    const drafts = await everything("drafts");
    const pending = drafts.find((one) => one.visit === visit)?.pending ?? {};
    Object.entries(told.values).forEach(([name, value]) => {
      if (!(name in pending)) setField(name, value.value);
    });
    showProblems(told.problems);
    if (told.problem) tellProblem(`Kept, but not finished. ${told.problem}`);
  };

  let running = false;
  let again = false;
  const once = async () => {
    let sent = 0;
    let mine = null;
    for (const draft of await everything("drafts")) await stage(draft.visit);
    const saves = (await everything("saves")).filter((one) => !one.problem);
    for (const save of saves.sort((one, other) => one.at - other.at)) {
      if (!sent) say("busy", "Kept on this phone; sending…");
      const told = await sendSave(save);
      sent += 1;
      if (told && save.visit === visit) mine = { told, finished: save.finished_at };
    }
    for (const photo of (await everything("photos")).filter((one) => !one.problem)) {
      say("busy", "Sending photos…");
      const taken = await sendPhoto(photo);
      sent += 1;
      if (photo.visit === visit) await showPhotos(taken ? photo : null);
    }
    if (mine) await apply(mine.told);
    if (sent && visit) await settle();
    if (mine?.finished && mine.told.state === "finished") location.reload();
  };

  const alone = (work) =>
    navigator.locks ? navigator.locks.request("suntally-visits", work) : work();
  const sync = async () => {
    if (running) {
      again = true;
      return;
    }
    running = true;
    try {
      do {
        again = false;
        await alone(once);
      } while (again);
      await tell();
    } catch (error) {
      if (!(error instanceof Waits)) say("wrong", `Kept on this phone. ${error.message}`);
      else if (error.message === "sign-in") {
        const next = encodeURIComponent(location.pathname);
        say("wrong", "Kept on this phone. Sign in again, then it is sent.", `/sign-in?next=${next}`);
      } else if (error.message === "busy") {
        say("wait", "Kept on this phone; the service does not answer. It is tried again.");
      } else if (error.message === "slow") {
        say("wait", "Kept on this phone; the connection is too slow now. It is tried again.");
      } else say("wait", OFFLINE);
    } finally {
      running = false;
    }
  };

  const tell = async () => {
    const refused = [...(await everything("saves")), ...(await everything("photos"))].find(
      (one) => one.problem,
    );
    if (refused) say("wrong", `Kept on this phone, but not taken: ${refused.problem}`);
    else if (!navigator.onLine) say("wait", OFFLINE);
    else say("still", visit ? "Everything you typed is kept and sent." : "");
  };

  const waiting = async () => {
    const [drafts, saves, photos] = await Promise.all(["drafts", "saves", "photos"].map(everything));
    const open = drafts.some((one) => Object.keys(one.pending).length || one.finished_at);
    return open || [...saves, ...photos].some((one) => !one.problem);
  };

  // ---- Photos ----

  const list = document.querySelector("[data-photos]");
  const shrink = async (file) => {
    try {
      const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
      const scale = Math.min(1, LONGEST_SIDE_PX / Math.max(picture.width, picture.height));
      const canvas = document.createElement("canvas");
      canvas.width = Math.round(picture.width * scale);
      canvas.height = Math.round(picture.height * scale);
      canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
      picture.close();
      const small = await new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.85));
      return small ?? file;
    } catch {
      return file; // the service says what is wrong with it
    }
  };
  const showPhotos = async (justSent = null) => {
    if (!list) return;
    if (justSent) {
      const place = list.querySelector(`[data-key="${justSent.key}"]`);
      place?.querySelector("[data-photo-words]")?.replaceChildren("sent");
      delete place?.dataset.key;
    }
    const held = (await everything("photos")).filter((one) => one.visit === visit);
    held.forEach((one) => {
      let item = list.querySelector(`[data-key="${one.key}"]`);
      if (!item) {
        item = document.createElement("li");
        item.dataset.key = one.key;
        const picture = document.createElement("img");
        picture.src = URL.createObjectURL(one.blob);
        picture.alt = "Photo on this phone";
        const words = document.createElement("span");
        words.className = "small";
        words.dataset.photoWords = "";
        const remove = document.createElement("button");
        remove.type = "button";
        remove.className = "second";
        remove.textContent = "Remove";
        remove.addEventListener("click", async () => {
          await forget("photos", one.key);
          item.remove();
          tell();
        });
        item.append(picture, words, remove);
        list.append(item);
      }
      item.querySelector("[data-photo-words]").textContent = one.problem ?? "on this phone, not sent yet";
    });
    all("li:not([data-key]) > button[type=button]", list).forEach((button) => button.remove());
  };

  // ---- Typing ----

  let timer;
  const soon = () => {
    clearTimeout(timer);
    timer = setTimeout(sync, QUIET_MS);
  };
  let asked = false;
  const typed = (event) => {
    const { name, value, type } = event.target;
    if (event.target.form !== form || !name || type === "file" || type === "hidden") return;
    const at = new Date().toISOString();
    note((draft) => {
      draft.pending[name] = { value, typed_at: at };
    }).then(soon, (error) => say("wrong", `This phone cannot keep drafts: ${error.message}.`));
    say("busy", navigator.onLine ? "Kept on this phone; sending…" : OFFLINE);
    if (!asked) {
      asked = true;
      navigator.storage?.persist?.().catch(() => {});
    }
  };

  const begin = async () => {
    await opened;
    if (form) {
      const draft = (await everything("drafts")).find((one) => one.visit === visit);
      if (draft) {
        Object.entries({ ...draft.kept, ...draft.pending }).forEach(([name, one]) =>
          setField(name, one.value),
        );
      }
      document.addEventListener("input", typed);
      form.addEventListener("submit", async (event) => {
        event.preventDefault();
        tellProblem(null);
        if (event.submitter?.value === "finish") {
          const at = new Date().toISOString();
          await note((one) => {
            // What was proposed and left standing is meant.
            all("[data-usual]").forEach(({ name, value }) => {
              if (value && !one.kept[name]) one.pending[name] ??= { value, typed_at: at };
            });
            one.finished_at = at;
          });
          say("busy", "Finished on this phone; it goes on record when it is sent.");
        }
        await sync();
      });
      form.querySelector("input[name=photo]")?.addEventListener("change", async (event) => {
        const files = [...event.target.files];
        event.target.value = "";
        for (const file of files) {
          const blob = await shrink(file);
          await within(["photos"], (store) =>
            store("photos").put({ key: newKey(), who, visit, blob, at: Date.now() }),
          );
          await showPhotos();
        }
        sync();
      });
      await showPhotos();
      document.body.dataset.ready = "";
    }
    addEventListener("online", sync);
    addEventListener("offline", () => say("wait", OFFLINE));
    document.addEventListener("visibilitychange", () => document.hidden || sync());
    setInterval(async () => (await waiting()) && sync(), AGAIN_MS);
    await sync();
  };
  if (who) {
    begin().catch(() =>
      say("wrong", "This browser keeps no drafts: without a connection, typed text would be lost."),
    );
  }

  if (who && navigator.serviceWorker) {
    navigator.serviceWorker
      .register("/visits-worker.js", { scope: "/visits" })
      .then(() => navigator.serviceWorker.ready)
      .then(() => {
        // The page that brought the worker was not seen by it.
        if (navigator.serviceWorker.controller) return keepPage();
        navigator.serviceWorker.addEventListener("controllerchange", keepPage, { once: true });
        return null;
      })
      .then(() => {
        document.body.dataset.keeps = "";
      })
      .catch(() => {}); // without it drafts are kept all the same
  }

  // ---- From where I am ----

  document.querySelector("[data-near]")?.addEventListener("click", (event) => {
    const button = event.target;
    button.disabled = true;
    navigator.geolocation.getCurrentPosition(
      ({ coords }) => {
        const here = new URL(location.href);
        const near = [coords.latitude, coords.longitude].map((one) => one.toFixed(2)).join(",");
        here.searchParams.set("near", near);
        location.assign(here);
      },
      () => {
        button.disabled = false;
        button.textContent = "The phone does not tell where it is";
      },
      { timeout: 15000, maximumAge: 300000 },
    );
  });
})();
