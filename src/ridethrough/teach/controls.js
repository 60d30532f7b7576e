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
  // A hand that comes or leaves: the kernel draws ahead in between.
  for (const [event, hand] of [["pointerenter", "on"], ["focusin", "on"], ["pointerleave", "off"], ["focusout", "off"]])
    el.addEventListener(event, () => model.send(hand));
  input.dataset.lmSuppressShortcuts = "true"; // or JupyterLab takes the arrow keys
  label.append(name, input, shown);
  el.append(label);
}
export default { render: control };
