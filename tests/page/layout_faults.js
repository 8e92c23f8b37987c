// What is wrong with a layout: cut off, beyond the page, too small to be touched, overlapping.
() => {
  const faults = [];
  const seen = (node) => node.checkVisibility({checkVisibilityCSS: true}) && !node.closest('.unseen, .skip, .band');
  const wide = document.documentElement;
  if (wide.scrollWidth > wide.clientWidth) faults.push(`page ${wide.scrollWidth} > ${wide.clientWidth}`);
  for (const node of document.querySelectorAll('body *:not(svg *, option)')) {
    if (!seen(node)) continue;
    const box = node.getBoundingClientRect();
    if (box.right > wide.clientWidth + 1 || box.left < -1) faults.push(`outside ${node.id || node.className}`);
    if (node instanceof SVGElement) continue;
    const flows = getComputedStyle(node).display !== 'inline';
    const name = `${node.tagName} ${node.id || node.className}`;
    if (flows && node.scrollWidth > node.clientWidth + 1) faults.push(`cut ${name} ${node.scrollWidth} > ${node.clientWidth}`);
    const hides = getComputedStyle(node).overflowY !== 'visible';
    if (flows && hides && node.scrollHeight > node.clientHeight + 3) faults.push(`low ${name}`);
  }
  for (const button of document.querySelectorAll('button, summary')) {
    if (!seen(button)) continue;
    const box = button.getBoundingClientRect();
    if (box.width < 44 || box.height < 44) faults.push(`small ${button.textContent} ${box.width} ${box.height}`);
  }
  for (const button of document.querySelectorAll('.big')) {
    if (seen(button) && button.getBoundingClientRect().height < 64) faults.push('a big button is not');
  }
  const blocks = [...document.querySelectorAll('header, main section, footer, .alert, .figure, .history, .one')].filter(seen);
  for (const [n, one] of blocks.entries()) for (const other of blocks.slice(n + 1)) {
    if (one.contains(other) || other.contains(one)) continue;
    const [a, b] = [one.getBoundingClientRect(), other.getBoundingClientRect()];
    const x = Math.min(a.right, b.right) - Math.max(a.left, b.left);
    const y = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
    if (x > 1 && y > 1) faults.push(`overlap ${one.id || one.className} ${other.id || other.className} ${x} ${y}`);
  }
  return faults;
}
