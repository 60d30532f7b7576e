// A labelled range, or where the model has options a labelled list.
function control({ model, el }) {
  const [label, name, shown] = ["label", "span", "output"].map((tag) => document.createElement(tag));
  const options = model.get("options");
  const input = document.createElement(options ? "select" : "input");
  name.textContent = model.get("label");
  if (options) {
    input.append(...options.map((text) => new Option(text)));
  } else {
    input.type = "range";
    input.setAttribute("aria-label", model.get("label"));
    for (const [end, trait] of [["min", "low"], ["max", "high"], ["step", "step"]]) input[end] = model.get(trait);
  }
  const refresh = () => {
    input.value = model.get("value");
    if (options) return;
    shown.textContent = `${model.get("value")} ${model.get("unit")}`;
    input.setAttribute("aria-valuetext", shown.textContent);
  };
  input.addEventListener("input", () => {
    model.set("value", options ? input.value : Number(input.value));
    model.save_changes();
  });
  model.on("change:value", refresh);
  refresh();
  foresee({ model, input, options });
  input.dataset.lmSuppressShortcuts = "true"; // or JupyterLab takes the arrow keys
  label.append(name, input, shown);
  el.append(label);
}

// Say where a hand may move it next, so that the kernel draws ahead; and when the hand leaves.
function foresee({ model, input, options }) {
  const thumb = 16; // px
  let resting;
  const aim = (value) => {
    clearTimeout(resting);
    resting = setTimeout(() => model.send({ aim: value }), 40);
  };
  input.addEventListener("pointermove", (event) => {
    const share = (event.offsetX - thumb / 2) / (input.clientWidth - thumb);
    if (!options && !event.buttons) aim(Number(input.min) + share * (input.max - input.min));
  });
  input.addEventListener("focus", () => aim(model.get("value")));
  for (const left of ["pointerleave", "blur"]) input.addEventListener(left, () => aim(null));
}
export default { render: control };
