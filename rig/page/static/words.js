"use strict";
// The page's own words come with it, in the phone's language: `say("{done} of {all}", { done, all })`.
const say = (() => {
  const told = JSON.parse(document.body.dataset.words || "{}");
  return (message, values = {}) => (told[message] || message).replace(/\{(\w+)\}/g, (all, name) => (name in values ? values[name] : all));
})();
