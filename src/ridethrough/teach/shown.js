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
function shown({ model, el }) {
  const show = frame(el);
  model.on("change:shown", () => show(model.get("shown")));
  show(model.get("shown"));
}
export default { render: shown };
