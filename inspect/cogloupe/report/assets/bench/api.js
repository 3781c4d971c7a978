"use strict";
/* How the bench asks its server, and tells what goes on. */

const bench = {};

(() => {
  bench.byId = name => document.getElementById(name);

  bench.say = text => { bench.byId("said").textContent = text; };

  bench.complain = text => { bench.byId("wrong").textContent = text; };

  /** Ask, and give what is answered; what went wrong is shown and thrown. */
  bench.ask = async (method, address, body) => {
    bench.complain("");
    const sent = body === undefined || body instanceof Blob ? body : JSON.stringify(body);
    let answer, told;
    try {
      answer = await fetch(address, { method, body: sent });
      told = await answer.json();
    } catch {
      bench.complain("The bench no longer answers. Is 'cogloupe bench' still running?");
      throw new Error("no answer");
    }
    if (!answer.ok) {
      bench.complain(told.error ?? "That did not work.");
      throw new Error(told.error);
    }
    return told;
  };

  /** Do something that takes a while, saying so. */
  bench.busy = async (text, work) => {
    bench.say(text);
    try {
      return await work();
    } finally {
      bench.say("");
    }
  };

  bench.upload = file => bench.ask("PUT", `/api/photo/${encodeURIComponent(file.name)}`, file);
})();
