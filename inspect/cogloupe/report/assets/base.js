"use strict";
/* What the parts of a page share: the state, who listens to it, and how elements are made. */

const cogloupe = {};

(() => {
  let listeners = [];

  cogloupe.state = {};

  /** Begin anew: a state and nobody listening. */
  cogloupe.begin = state => {
    listeners = [];
    cogloupe.state = state;
  };

  /** Call `act` now and whenever one of the named parts of the state changes. */
  cogloupe.follow = (names, act) => {
    listeners.push([names, act]);
    act(cogloupe.state);
  };

  cogloupe.set = changes => {
    const changed = Object.keys(changes).filter(name => cogloupe.state[name] !== changes[name]);
    Object.assign(cogloupe.state, changes);
    for (const [names, act] of listeners) {
      if (names.some(name => changed.includes(name))) act(cogloupe.state);
    }
  };

  const SVG = "http://www.w3.org/2000/svg";

  const filled = (made, attributes, children) => {
    for (const [name, value] of Object.entries(attributes)) {
      if (value !== null && value !== undefined && value !== false) made.setAttribute(name, value);
    }
    made.append(...children);
    return made;
  };

  /** An element of the page. */
  cogloupe.element = (name, attributes = {}, ...children) =>
    filled(document.createElement(name), attributes, children);

  /** An element of a drawing. */
  cogloupe.draw = (name, attributes = {}, ...children) =>
    filled(document.createElementNS(SVG, name), attributes, children);

  /** A path through points, [[x, y], ...]; null lifts the pen. */
  cogloupe.path = (points, closed = false) => {
    let pen = "M", text = "";
    for (const point of points) {
      if (point === null) { pen = "M"; continue; }
      text += `${pen}${point[0].toFixed(2)},${point[1].toFixed(2)}`;
      pen = "L";
    }
    return text + (closed && text ? "Z" : "");
  };

  /** Round number at or above a length: 1, 2, 5, 10 ... */
  cogloupe.roundUp = size => {
    const decade = 10 ** Math.floor(Math.log10(size));
    return [1, 2, 5, 10].find(n => n * decade >= size * (1 - 1e-9)) * decade;
  };

  cogloupe.roundDown = size => {
    const decade = 10 ** Math.floor(Math.log10(size));
    return [5, 2, 1].find(n => n * decade <= size * (1 + 1e-9)) * decade;
  };
})();
