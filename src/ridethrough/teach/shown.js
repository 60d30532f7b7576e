// Sentence, picture and numbers, changed in place; where there is no picture, why.
function frame(el) {
  el.classList.add("rt-shown");
  el.innerHTML = `<p aria-live="polite"></p><img alt="">
    <details><summary>The numbers as a table</summary><div></div></details>`;
  const [sentence, picture, details, numbers] = ["p", "img", "details", "div"].map((tag) => el.querySelector(tag));
  return (now) => {
    picture.hidden = details.hidden = !now.picture;
    if (!now.picture) {
      sentence.textContent = now.text;
      return;
    }
    sentence.innerHTML = now.sentence;
    numbers.innerHTML = now.numbers;
    picture.alt = now.text;
    const before = picture.src;
    picture.src = URL.createObjectURL(new Blob([now.picture], { type: `image/${now.kind}` }));
    if (before) URL.revokeObjectURL(before);
  };
}

// What the kernel drew ahead is shown at once where a control comes to it; all else once the kernel has drawn it.
async function shown({ model, el }) {
  const show = frame(el);
  const drawn = new Map();
  let controls = [];
  let at;
  const standing = () => controls.map((control) => control.get("value")).join();
  const keep = (now, picture = now.picture) => drawn.set(now.at?.join(), { ...now, picture });
  const wait = (yes) => el.classList.toggle("rt-late", yes); // paler: not yet of where the controls stand
  const come = (place) => {
    if (!place || place !== at) show(drawn.get(place));
    at = place;
    wait(Boolean(place && controls.length) && place !== standing());
  };
  const told = () => {
    const now = model.get("shown");
    keep(now);
    if (!now.at || at !== standing()) come(now.at?.join()); // what is late goes by
  };
  model.on("change:shown", told);
  model.on("msg:custom", (now, [picture]) => keep(now, picture));
  told();
  const names = model.get("controls").map((name) => name.slice("IPY_MODEL_".length));
  controls = await Promise.all(names.map((name) => model.widget_manager.get_model(name)));
  for (const control of controls) control.on("change:value", () => (drawn.has(standing()) ? come(standing()) : wait(true)));
}
export default { render: shown };
