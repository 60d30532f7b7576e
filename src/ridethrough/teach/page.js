// A published panel: controls over positions that were calculated beforehand.
async function unpack(text) {
  const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
  return new Response(stream).json();
}

// What a control asks of a notebook's model.
function modelOf(traits, moved) {
  const heard = [];
  return {
    get: (name) => traits[name],
    set: (name, value) => {
      traits[name] = value;
      heard.forEach((hear) => hear());
    },
    on: (_, hear) => heard.push(hear),
    save_changes: moved,
    send: () => {},
  };
}

if (!globalThis.DecompressionStream) {
  document.getElementById("controls").textContent = "The controls need a browser of 2023 or later.";
}
const { controls, parts, positions } = await unpack(document.getElementById("positions").textContent);
const show = frame(document.getElementById("shown"));

function refresh() {
  const at = controls.reduce((sum, { options, value, low, step, count }) =>
    sum * count + (options ? options.indexOf(value) : Math.round((value - low) / step)), 0);
  const [text, sentence, numbers, picture] = positions[at].map((these) => these.map((part) => parts[part]).join(""));
  show({ text, sentence, numbers, picture, kind: "svg+xml" });
}

for (const traits of controls) {
  const el = document.createElement("div");
  el.className = traits.options ? "rt-choice" : "rt-slider";
  document.getElementById("controls").append(el);
  control({ model: modelOf(traits, refresh), el });
}
refresh();
