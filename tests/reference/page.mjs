// Opens report pages in a real browser and checks what only a browser can tell.
//
//   node page.mjs PAGE.html...     CHROMIUM names the browser, else `chromium` is looked for on the path
//
// For each page, at 1280x800 and at 390x844, light and dark: no request and no message on the console, nothing wider
// than the window, links of the table lead somewhere, no serious fault by an accessibility checker; and where the page
// has a 3-D view: it opens by keyboard alone, every pose, frame, colour, turn and layer changes the picture, and playing
// stays below three changes a second and stops for who asked for less motion.
import { readFileSync } from 'node:fs';
import { execFileSync } from 'node:child_process';
import { createRequire } from 'node:module';
import { resolve } from 'node:path';
import { pathToFileURL } from 'node:url';
import puppeteer from 'puppeteer-core';

const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
const browserPath = process.env.CHROMIUM ?? execFileSync('which', ['chromium'], { encoding: 'utf8' }).trim();
const faults = [];
let page, where;

function check(holds, what) {
  if (!holds) faults.push(`${where}: ${what}`);
}

const browser = await puppeteer.launch({
  executablePath: browserPath,
  args: ['--no-sandbox', '--enable-unsafe-swiftshader', '--use-angle=swiftshader', '--hide-scrollbars'],
});
try {
  for (const file of process.argv.slice(2)) {
    for (const [width, height] of [[1280, 800], [390, 844]]) {
      for (const scheme of ['light', 'dark']) {
        await visit(resolve(file), { width, height }, scheme);
      }
    }
  }
} finally {
  await browser.close();
}
for (const fault of faults) console.error(fault);
console.log(faults.length ? `${faults.length} faults` : 'the pages hold in a browser');
process.exitCode = faults.length ? 1 : 0;

async function visit(file, viewport, scheme) {
  where = `${file.split('/').slice(-2).join('/')} ${viewport.width} ${scheme}`;
  page = await browser.newPage();
  const asked = [], told = [];
  page.on('request', (request) => asked.push(request.url().slice(0, 80)));
  page.on('console', (message) => told.push(message.text()));
  page.on('pageerror', (error) => told.push(String(error)));
  await page.setViewport(viewport);
  await page.emulateMediaFeatures([{ name: 'prefers-color-scheme', value: scheme }]);
  await page.goto(pathToFileURL(file).href, { waitUntil: 'load' });
  const outside = () => asked.filter((url) => !url.startsWith('file:') && !url.startsWith('data:') && !url.startsWith('blob:'));
  await layout(viewport);
  await links();
  await curves();
  if (await page.$('#view')) await view();
  await layout(viewport);
  await accessibility();
  check(outside().length === 0 && asked.filter((url) => url.startsWith('file:')).length === 1, `asks for ${asked}`);
  check(told.length === 0, `the console says ${told.join(' / ')}`);
  await page.close();
}

async function layout(viewport) {
  const wide = await page.evaluate(() => document.documentElement.scrollWidth);
  check(wide <= viewport.width, `${wide} pixels wide`);
}

async function links() {
  const dead = await page.$$eval('a[href^="#"]', (all) => all.filter((a) => !document.getElementById(a.getAttribute('href').slice(1))).length);
  check(dead === 0, `${dead} links lead nowhere`);
}

async function curves() {
  const sheet = await page.$('figure.curve .scroll');
  if (!sheet) return;
  const said = () => page.$eval('figure.curve output', (output) => output.textContent);
  await sheet.focus();
  await page.keyboard.press('ArrowRight');
  const first = await said();
  check(/: .*\d/.test(first), `the first curve says "${first}"`);
  await page.keyboard.press('End');
  const last = await said();
  const several = await page.$eval('figure.curve', (figure) => figure.dataset.values.includes('|'));
  check(!several || last !== first, `the curve says "${last}" at both ends`);
  await sheet.evaluate((s) => s.scrollIntoView({ block: 'center', behavior: 'instant' }));
  const box = await sheet.boundingBox();
  await page.mouse.move(box.x + Math.min(box.width, 700) * 0.4, box.y + box.height / 2);
  check(!several || (await said()) !== last, 'the mouse reads no value');
}

// The view's picture as text, once it has been drawn anew.
async function picture() {
  await page.evaluate(() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => requestAnimationFrame(done)))));
  return page.$eval('#view canvas', (canvas) => canvas.toDataURL());
}

async function view() {
  const button = await page.$('button[data-view]');
  await button.focus();
  await page.keyboard.press('Enter');
  await page.waitForSelector('#view canvas[data-ready="yes"]', { timeout: 60000 }).catch(() => check(false, 'the view does not open'));
  if (!(await page.$('#view canvas[data-ready="yes"]'))) return;
  check(await page.evaluate(() => document.activeElement.tagName === 'CANVAS'), 'the view takes no focus');
  const seen = new Map();
  const differs = async (what) => {
    const now = await picture();
    check(![...seen.values()].includes(now), `${what} changes nothing`);
    seen.set(what, now);
  };
  await differs('opening');
  await page.keyboard.press('ArrowRight');
  await differs('a turn');
  await page.keyboard.press('+');
  await differs('coming nearer');
  await page.keyboard.press('0');
  await picture().then((now) => seen.set('whole', now));
  const part = (name) => page.$(`#view [data-part="${name}"]`);
  // A pose with several frames, by keyboard: the slider, then play.
  const moving = await page.evaluate(() => {
    const list = JSON.parse(document.getElementById('models').textContent)[0];
    const shown = Number(document.querySelector('#view [data-part="pose"]').value);
    return list.poses.findIndex((pose, at) => at !== shown && pose.frames.length > 4);
  });
  if (moving >= 0) {
    await page.select('#view [data-part="pose"]', String(moving));
    await differs('another pose');
    await (await part('frame')).focus();
    for (let n = 0; n < 3; n++) await page.keyboard.press('ArrowRight');
    await differs('the slider');
    const drawn = () => page.$eval('#view canvas', (canvas) => Number(canvas.dataset.drawn));
    await page.$eval('#view [data-part="play"]', (play) => play.click());
    const before = await drawn();
    await new Promise((done) => setTimeout(done, 2000));
    const played = (await drawn()) - before;
    check(played >= 2 && played <= 6, `playing draws ${played} times in two seconds`);
    await page.$eval('#view [data-part="play"]', (play) => play.click());
    await page.emulateMediaFeatures([{ name: 'prefers-reduced-motion', value: 'reduce' }]);
    await page.$eval('#view [data-part="play"]', (play) => play.click());
    await picture();
    const rest = await drawn();
    await new Promise((done) => setTimeout(done, 900));
    check((await drawn()) === rest, 'plays on for who asked for less motion');
    await page.emulateMediaFeatures([{ name: 'prefers-reduced-motion', value: 'no-preference' }]);
  }
  const colours = await page.$$eval('#view [data-part="colour"] option', (all) => all.map((option) => option.value));
  const joint = colours.find((value) => value.startsWith('j:') && /leg|thigh|hip/i.test(value)) ?? colours.find((value) => value.startsWith('j:'));
  for (const value of [colours.findLast((v) => v.startsWith('m:')), joint]) {
    await page.select('#view [data-part="colour"]', value);
    await differs(`colour ${value}`);
    check(await page.$eval('#view [data-part="legend"]', (legend) => !legend.hidden && legend.innerText.trim().length > 3), `no legend for ${value}`);
  }
  await page.select('#view [data-part="colour"]', '');
  for (const name of ['glass', 'garment', 'body']) {
    await (await part(name)).focus();
    await page.keyboard.press('Space');
    await differs(`the box ${name}`);
  }
  for (const name of ['body', 'garment', 'glass']) await (await part(name)).click();
  const canvas = await page.$('#view canvas');
  await canvas.evaluate((c) => c.scrollIntoView({ block: 'center', behavior: 'instant' }));
  const box = await canvas.boundingBox();
  await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
  await page.mouse.down();
  await page.mouse.move(box.x + box.width / 2 + 60, box.y + box.height / 2 + 20, { steps: 4 });
  await page.mouse.up();
  await differs('a drag');
  // The next card: the view moves there and shows another place.
  const cards = await page.$$('article button[data-view]');
  if (cards.length) {
    await cards[cards.length - 1].click();
    await page.waitForFunction(() => document.querySelector('#view').closest('article'), { timeout: 20000 });
    await differs('another card');
  }
}

async function accessibility() {
  await page.evaluate(axe);
  const found = await page.evaluate(() => globalThis.axe.run(document, { resultTypes: ['violations'] }));
  for (const violation of found.violations.filter((v) => ['serious', 'critical'].includes(v.impact))) {
    check(false, `accessibility, ${violation.id}: ${violation.help} (${violation.nodes.length}, first ${violation.nodes[0].target})`);
  }
}
