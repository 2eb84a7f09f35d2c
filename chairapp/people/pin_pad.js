// The keys beside the field of a PIN: for fingers; the field itself takes the keyboard.
addEventListener("DOMContentLoaded", () => {
  document.addEventListener("click", (event) => {
    const key = event.target.closest(".tm-pin .tm-key[type=button]");
    if (!key) return;
    const field = key.form.elements.pin;
    field.value = key.dataset.key === "back" ? field.value.slice(0, -1) : field.value + key.textContent.trim();
  });
});
