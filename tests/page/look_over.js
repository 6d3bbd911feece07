// Opens all that folds, and returns the page's texts, and those cut, beyond it or over others.
() => {
  const scrolled = (one, box) => {
    for (; one && one !== document.body; one = one.parentElement) {
      const style = getComputedStyle(one), is = one.getBoundingClientRect();
      if (/auto|scroll/.test(style.overflow) && (box.bottom > is.bottom + 1 || box.top < is.top - 1 || box.right > is.right + 1)) return true;
    }
  };
  const told = [], boxes = [], wrong = [];
  for (const one of document.querySelectorAll('details')) one.open = true;
  for (const one of document.querySelectorAll('.steps')) one.style.position = 'static';
  for (const one of document.querySelectorAll('[aria-label], [title], [placeholder], option'))
    for (const text of [one.getAttribute('aria-label'), one.title, one.placeholder, one.label]) if (typeof text === 'string') told.push(text);
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const parent = node.parentElement, text = node.textContent.trim();
    if (!text || parent.closest('script, style, option, select')) continue;
    told.push(text);
    if (parent.closest('svg, .unseen, #flash') || !parent.checkVisibility({visibilityProperty: true})) continue;
    const range = document.createRange();
    if (parent.closest('h1, label, legend, button, .button, summary, #prompt, #flash'))
      for (const word of node.textContent.matchAll(/[^\s/-]{3,}/g)) {
        range.setStart(node, word.index);
        range.setEnd(node, word.index + word[0].length);
        if (range.getClientRects().length > 1) wrong.push(['broken', word[0]]);
      }
    range.selectNodeContents(node);
    for (const box of range.getClientRects()) {
      if (box.width < 1 || box.height < 1) continue;
      const {left, right, top, bottom} = box;
      if (scrolled(parent, box)) continue;
      if (left < -0.5 || right > innerWidth + 0.5) wrong.push(['beyond', text]);
      for (let one = parent; one && one !== document.body; one = one.parentElement) {
        const style = getComputedStyle(one), is = one.getBoundingClientRect();
        const cuts = style.overflowX === 'hidden' || style.overflowX === 'clip' || one.matches('button, .button, summary, .up, #home');
        if (cuts && (left < is.left - 1 || right > is.right + 1 || top < is.top - 3 || bottom > is.bottom + 3)) wrong.push(['cut', text, one.id || one.className || one.tagName]);
      }
      boxes.push([node, text, left, top, right, bottom]);
    }
  }
  boxes.forEach(([node, text, left, top, right, bottom], n) => {
    for (const [other, words, a, b, c, d] of boxes.slice(n + 1))
      if (other !== node && Math.min(right, c) - Math.max(left, a) > 2 && Math.min(bottom, d) - Math.max(top, b) > 0.35 * Math.min(bottom - top, d - b)) wrong.push(['over', text, words]);
  });
  const wide = document.documentElement.scrollWidth;
  if (wide > innerWidth) wrong.push(['wide', wide]);
  return [told, wrong];
}