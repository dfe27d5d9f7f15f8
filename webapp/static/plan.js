// Fields that the chosen payload, or the chosen parity, does not need are hidden; everything works without this.
"use strict";

for (const form of document.querySelectorAll("form.plan-form")) {
  const menus = [...form.querySelectorAll("select[name$='payload'], select[name$='parity']")];
  const show = () => {
    const chosen = menus.map((menu) => menu.value);
    for (const field of form.querySelectorAll("[data-only-for]")) {
      const wanted = field.dataset.onlyFor.split("|").some((value) => chosen.includes(value));
      field.hidden = !wanted && !field.querySelector("[aria-invalid]");
    }
  };
  for (const menu of menus) menu.addEventListener("change", show);
  show();
}
