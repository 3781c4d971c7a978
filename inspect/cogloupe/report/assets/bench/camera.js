"use strict";
/* Live view of a microscope or camera, with its meters. */

(() => {
  const { element } = cogloupe;
  const { byId } = bench;
  const METER_MS = 400;
  let best = 0, view = 0, asked = Promise.resolve();

  /* Counts views, so that what an earlier one still asks for says no more; a meter that is on its
     way is waited for, since it would find no camera. */
  const nextView = async () => {
    const next = ++view;
    await asked.catch(() => {});
    return next;
  };

  const metered = async mine => {
    if (mine !== view) return;
    asked = bench.ask("GET", "/api/camera/meter");
    const told = await asked;
    if (mine !== view) return;
    best = Math.max(best, told.focus);
    byId("focus").value = best ? told.focus / best : 0;
    byId("exposure").value = told.brightness;
    byId("exposure-words").textContent = told.advice;
    byId("clipped").textContent = `${(100 * told.white).toFixed(1)} % white, ${(100 * told.black).toFixed(1)} % black`;
    setTimeout(() => metered(mine).catch(stop), METER_MS);
  };

  const open = async name => {
    const mine = await nextView();
    await bench.ask("POST", "/api/camera", { camera: name });
    best = 0;
    byId("live").src = `/api/camera/live?${Date.now()}`;
    await metered(mine);
  };

  const start = async () => {
    const { cameras } = await bench.busy("Looking for cameras …", () => bench.ask("GET", "/api/cameras"));
    if (!cameras.length) return bench.complain("No camera answers: plug it in, and close other programs that use it.");
    byId("cameras").replaceChildren(...cameras.map(name => element("option", { value: name }, /^\d+$/.test(name) ? `camera ${Number(name) + 1}` : name)));
    byId("camera").hidden = false;
    await open(cameras[0]);
  };

  const stop = () => {
    byId("camera").hidden = true;
    byId("live").removeAttribute("src");
    nextView().then(() => bench.ask("DELETE", "/api/camera")).catch(() => {});
  };

  const take = async () => {
    const looked = await bench.busy("Taking the picture …", () => bench.ask("POST", "/api/camera/take"));
    stop();
    await bench.askAbout(looked);
  };

  bench.startCamera = () => {
    byId("use-camera").addEventListener("click", () => start().catch(() => {}));
    byId("cameras").addEventListener("change", event => open(event.target.value).catch(() => {}));
    byId("take").addEventListener("click", () => take().catch(() => {}));
    byId("stop-camera").addEventListener("click", stop);
  };
})();
