"""What a view must be for those who do not see it, or not well: our own checks, and axe-core's where it can be had."""

from __future__ import annotations

from typing import Any

# -- screen readers ------------------------------------------------------------------------------------------

# Our own checks: landmarks, one first heading, heading order, names of controls and images, table heads, contrast.
OWN_CHECKS = """() => {
  const wrong = [];
  if (document.readyState !== 'complete') wrong.push('looked at before it was loaded');
  const came = link => { try { return link.sheet.cssRules.length > 0; } catch { return false; } };
  for (const each of document.querySelectorAll('link[rel=stylesheet]'))
    if (!came(each)) wrong.push('a style sheet that did not come: ' + each.href);
  if (document.documentElement.lang !== 'en') wrong.push('no language');
  if (document.querySelectorAll('main').length !== 1) wrong.push('not one main');
  if (document.querySelectorAll('h1').length !== 1) wrong.push('not one h1');
  let level = 0;
  for (const each of document.querySelectorAll('h1, h2, h3, h4')) {
    const now = +each.tagName[1];
    if (now > level + 1) wrong.push('heading skips a level: ' + each.textContent);
    level = now;
  }
  for (const each of document.querySelectorAll('nav, [role=region]'))
    if (!each.getAttribute('aria-label')) wrong.push('a landmark without a name');
  for (const each of document.querySelectorAll('input:not([type=hidden]), select, textarea'))
    if (!each.labels.length) wrong.push('a control without a label: ' + each.name);
  for (const each of document.querySelectorAll('a, button'))
    if (!(each.getAttribute('aria-label') || each.textContent).trim() &&
        ![...each.querySelectorAll('img')].some(one => one.alt))
      wrong.push('a link without a name');
  for (const each of document.querySelectorAll('svg:not([aria-label])')) wrong.push('a chart without words');
  for (const each of document.querySelectorAll('table'))
    if (!each.caption || !each.querySelector('th[scope=col]')) wrong.push('a table without head or caption');
  const ids = [...document.querySelectorAll('[id]')].map(each => each.id);
  if (new Set(ids).size !== ids.length) wrong.push('an id twice');
  const numbers = text => (text.match(/[0-9.]+/g) || []).map(Number);
  const light = ([r, g, b]) => { const f = v => (v /= 255) <= .04045 ? v / 12.92 : ((v + .055) / 1.055) ** 2.4;
    return .2126 * f(r) + .7152 * f(g) + .0722 * f(b); };
  const ground = each => { for (; each; each = each.parentElement) {
    const c = numbers(getComputedStyle(each).backgroundColor); if (c.length === 3 || c[3] > 0) return c; }
    return [255, 255, 255]; };
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  let looked = 0;
  for (let node; (node = walk.nextNode());) {
    const each = node.parentElement, style = getComputedStyle(each);
    if (!node.data.trim() || each.closest('.screen, .unseen, script, .skip')) continue;
    const text = numbers(each.namespaceURI.endsWith('svg') ? style.fill : style.color);
    const [a, b] = [light(text), light(ground(each))].sort((x, y) => y - x);
    looked++;
    const ratio = (a + .05) / (b + .05);
    if (ratio < 4.5) wrong.push('contrast ' + ratio.toFixed(2) + ': ' + node.data.trim());
  }
  if (looked < 5) wrong.push('next to nothing was looked at');
  return wrong; }"""


def wait_loaded(page: Any) -> None:
    """Until the document that is there now has come whole, with its style sheets and scripts.

    An element can be there before that: for what is measured or counted after a click that leads to another view.
    """
    page.wait_for_load_state("load")


def flaws(page: Any, axe: str | None) -> list[Any]:
    """What is wrong with the view that a page of the browser shows. axe: the script of axe-core, or None."""
    wait_loaded(page)
    found = list(page.evaluate(OWN_CHECKS))
    if axe:
        page.evaluate(axe)
        told = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
        assert told["testEngine"]["name"] == "axe-core"
        found += [
            (each["id"], [node["html"][:120] for node in each["nodes"]])
            for each in told["violations"]
            if each["impact"] in ("serious", "critical")
        ]
    return found
