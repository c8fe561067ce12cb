// Every text seen in an element, with its ink and what lies behind it, from the front backwards.
root => {
  const found = [];
  const range = document.createRange();
  const walk = document.createTreeWalker(root, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const node = walk.currentNode;
    const e = node.parentElement;
    range.selectNodeContents(node);
    const wide = range.getBoundingClientRect().width >= 2;
    if (!node.textContent.trim() || !wide || !e.checkVisibility()) continue;
    const svg = e.closest('svg');
    const style = getComputedStyle(e);
    const behind = [];
    for (let g = svg ? svg.parentElement : e; g; g = g.parentElement)
      behind.push(getComputedStyle(g).backgroundColor);
    found.push([node.textContent.trim(), svg ? style.fill : style.color, behind]);
  }
  return found;
}
