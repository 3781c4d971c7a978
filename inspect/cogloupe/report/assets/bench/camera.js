"use strict";
/* Live view of a microscope or camera, with its meters. */

(() => {
  const { element } = cogloupe;
  const { byId } = bench;
  const METER_MS = 400;
  let best = 0, timer = 0;

  const metered = async () => {
    const told = await bench.ask("GET", "/api/camera/meter");
    best = Math.max(best, told.focus);
    byId("focus").value = best ? told.focus / best : 0;
    byId("exposure").value = told.brightness;
    byId("exposure-words").textContent = told.advice;
    byId("clipped").textContent = `${(100 * told.white).toFixed(1)} % white, ${(100 * told.black).toFixed(1)} % black`;
    timer = setTimeout(() => metered().catch(stop), METER_MS);
  };

  const open = async name => {
    clearTimeout(timer);
    await bench.ask("POST", "/api/camera", { camera: name });
    best = 0;
    byId("live").src = `/api/camera/live?${Date.now()}`;
    await metered();
  };

  const start = async () => {
    const { cameras } = await bench.busy("Looking for cameras …", () => bench.ask("GET", "/api/cameras"));
    if (!cameras.length) return bench.complain("No camera answers: plug it in, and close other programs that use it.");
    byId("cameras").replaceChildren(...cameras.map(name => element("option", { value: name }, /^\d+$/.test(name) ? `camera ${Number(name) + 1}` : name)));
    byId("camera").hidden = false;
    await open(cameras[0]);
  };

  const stop = () => {
    clearTimeout(timer);
    byId("camera").hidden = true;
    byId("live").removeAttribute("src");
    bench.ask("DELETE", "/api/camera").catch(() => {});
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
