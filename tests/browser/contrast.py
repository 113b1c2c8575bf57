"""Which texts of a page cannot be told from their ground: a script that gives them."""

# At least 4.5 to 1: WCAG 2.2, success criterion 1.4.3, level AA.
CONTRAST = """
() => {
  const numbers = (text) => text.match(/[\\d.]+/g).map(Number);
  const light = ([r, g, b]) => [r, g, b].map((c) => c / 255)
    .map((c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4))
    .reduce((sum, c, n) => sum + c * [0.2126, 0.7152, 0.0722][n], 0);
  const ground = (element) => {
    for (let one = element; one; one = one.parentElement) {
      const colour = numbers(getComputedStyle(one).backgroundColor);
      if (colour.length === 3 || colour[3] === 1) return colour;
    }
    return [255, 255, 255];
  };
  const bad = [];
  for (const element of document.querySelectorAll("main *, header *, footer *")) {
    const own = [...element.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
    if (!own || !element.checkVisibility() || element.closest("svg, script, .plot")) continue;
    const ink = light(numbers(getComputedStyle(element).color));
    const paper = light(ground(element));
    const ratio = (Math.max(ink, paper) + 0.05) / (Math.min(ink, paper) + 0.05);
    if (ratio < 4.5) bad.push([element.textContent.trim().slice(0, 40), ratio.toFixed(2)]);
  }
  return bad;
}
"""
