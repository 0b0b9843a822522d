// What somebody signed in writes down and prints, in a real browser: a visit with a new fan and a
// radon test, on a phone, without scripts and by keyboard alone, in two languages; and the papers.
const day = (ago) => new Date(Date.now() - ago * 86400_000).toISOString().slice(0, 10);
const house = '/systems/birch-lane-12';

// Opens a folded form by its keyboard, from the summary on.
async function unfold(page, id) {
  await page.locator(`#${id} > summary`).focus();
  await page.keyboard.press('Enter');
}

// Goes from field to field by Tab and types; a form that is reached by Tab alone needs no mouse.
async function fill(page, fields) {
  for (const [name, text] of Object.entries(fields)) {
    const field = page.locator(`main form.entry [name="${name}"]`).last();
    for (let i = 0; i < 60 && (await page.evaluate(() => document.activeElement.name)) !== name; i++) await page.keyboard.press('Tab');
    if ((await page.evaluate(() => document.activeElement.name)) !== name) throw new Error(`Tab never comes to ${name}`);
    if (['date', 'checkbox', 'radio'].includes(await field.getAttribute('type')) || (await field.evaluate((one) => one.tagName)) === 'SELECT') {
      if ((await field.getAttribute('type')) === 'checkbox') await page.keyboard.press('Space');
      else if ((await field.evaluate((one) => one.tagName)) === 'SELECT') await field.selectOption(text);
      else await field.fill(text);
    } else {
      await page.keyboard.press('Control+A');
      await page.keyboard.type(text);
    }
  }
}

async function send(page) {
  const before = page.url();
  for (let i = 0; i < 60 && (await page.evaluate(() => document.activeElement.type)) !== 'submit'; i++) await page.keyboard.press('Tab');
  await Promise.all([page.waitForNavigation(), page.keyboard.press('Enter')]);
  return before;
}

async function marked(page) {
  return page.locator('main .wrong').evaluateAll((all) => all.map((one) => one.id));
}

async function writeVisit(tools, page, name, language) {
  const { check, visit, judgeIn } = tools;
  await visit(page, house);
  await unfold(page, 'visit-done');
  await fill(page, { found: '<i>hum</i> in the fan', did: 'a new fan', 'value-suction': '1 apple', 'changed-fan': '', 'fan-model': 'axial-9', 'fan-serial': 'A 1', 'fan-why': 'failed' });
  await send(page);
  check((await marked(page)).join() === 'wrong-value-suction', `${name}: beside the field: ${await marked(page)}`);
  check((await page.locator('[name=found]').inputValue()) === '<i>hum</i> in the fan' && (await page.locator('[name=fan-serial]').inputValue()) === 'A 1' &&
    (await page.locator('[name=fan-why]').inputValue()) === 'failed' && (await page.locator('[name=changed-fan]').isChecked()), `${name}: what was typed stays`);
  await judgeIn(page, `${name}-refused`, language);
  await visit(page, house); // judged by a reload, the form is gone: once more, right
  await unfold(page, 'visit-done');
  await fill(page, { found: '<i>hum</i> in the fan', did: 'a new fan', 'value-suction': '1.05', 'fan-model': 'axial-9', 'fan-serial': 'A 1' });
  await send(page);
  await page.locator('.past summary').nth(1).click();
  const text = await page.locator('.past').innerText();
  check(text.includes('<i>hum</i> in the fan') && /axial-9, (serial|número de serie) A 1/.test(text), `${name}: written down: ${text.slice(0, 600)}`);
}

async function writeTest(tools, page, name, language) {
  const { check, visit, judgeIn } = tools;
  await visit(page, house);
  await unfold(page, 'radon-test');
  await fill(page, { from: day(1), to: day(3), value: '2 apples', place: 'den' });
  await page.locator('#radon-test [name=device]').fill('film 7');
  await send(page);
  const wrong = await marked(page);
  check(wrong.includes('wrong-value') && wrong.length === 2, `${name}: beside the fields: ${wrong}`);
  check((await page.locator('[name=value]').inputValue()) === '2 apples' && (await page.locator('[name=device]').inputValue()) === 'film 7', `${name}: what was typed stays`);
  await judgeIn(page, `${name}-refused`, language);
  await visit(page, house);
  await unfold(page, 'radon-test');
  await fill(page, { from: day(5), to: day(3), value: '1.4 pCi/L', place: 'den', device: 'film 7' });
  await send(page);
  await page.locator('.past summary').first().click();
  check(/film 7/.test(await page.locator('.past').innerText()), `${name}: written down`);
}

// A slip of the keys is taken back; without a reason the form comes back with what was chosen.
async function takeBack(tools, page, name, language) {
  const { check, visit, judgeIn } = tools;
  await visit(page, house);
  await unfold(page, 'radon-test');
  await fill(page, { from: day(5), to: day(3), value: '14 pCi/L', place: 'den', device: 'film 7' });
  await send(page);
  await visit(page, house);
  await unfold(page, 'take-back');
  const slip = page.locator('#take-back option', { hasText: '14 pCi/L' });
  await page.locator('#take-back [name=test]').selectOption(await slip.getAttribute('value'));
  await page.locator('#take-back form').evaluate((form) => (form.noValidate = true));
  await page.locator('#take-back [name=test]').focus();
  await send(page);
  check((await marked(page)).join() === 'wrong-why-take-back', `${name}: the reason is asked for: ${await marked(page)}`);
  check(/14 pCi/.test(await page.locator('[name=test] option:checked').innerText()), `${name}: what was chosen stays`);
  await judgeIn(page, `${name}-refused`, language);
  await visit(page, house);
  await unfold(page, 'take-back');
  await page.locator('#take-back [name=test]').selectOption(await slip.getAttribute('value'));
  await fill(page, { why: 'a point was lost' });
  await send(page);
  await page.locator('.past summary').first().click();
  const past = await page.locator('.past').innerText();
  check(/film 7/.test(past) && !/14 pCi\/L/.test(past), `${name}: only the slip is gone: ${past.slice(0, 600)}`);
}

async function papers(tools, page, name, language) {
  const { check, visit, judgeIn } = tools;
  const year = new Date().getFullYear();
  // The record is in its reader's language; letter and sheet are in the owner's, or the one asked for.
  for (const [sheet, target] of [['record', '/record'], ['letter', `/report?year=${year}&language=${language}`], ['fan-sheet', `/fan-sheet?language=${language}`]]) {
    const answer = await visit(page, `${house}${target}`);
    check(answer.status() === 200, `${name}: ${sheet}: ${answer.status()}`);
    await judgeIn(page, `${name}-${sheet}`, language);
    const text = await page.locator('main').innerText();
    check(language === 'es' ? /no sustituye|electricista/i.test(text) : /no substitute|electrician/i.test(text), `${name}: ${sheet}: its cautions`);
  }
  await visit(page, '/fans');
  await judgeIn(page, `${name}-fans`, language);
}

// axe-core needs scripts: without them the forms are used, with them they are judged as well.
export async function contractor(tools) {
  const { browser, signIn, judgeIn, visit } = tools;
  const readers = [['en-US', 'en', 390, true], ['es-MX', 'es', 390, false], ['en-US', 'en', 1280, false], ['es-MX', 'es', 1280, true]];
  for (const [locale, language, width, scripts] of readers) {
    const name = `${width < 600 ? 'phone' : 'desktop'}-${language}`;
    const viewport = { width, height: 844 };
    const context = await browser.newContext({ viewport, locale, javaScriptEnabled: scripts });
    const guest = await browser.newContext({ viewport, locale });
    const page = await signIn(context);
    const judge = scripts ? judgeIn : async () => {};
    await visit(page, house);
    await judge(page, `${name}-signed-in`, language);
    await writeVisit({ ...tools, judgeIn: judge }, page, `${name}-visit`, language);
    await writeTest({ ...tools, judgeIn: judge }, page, `${name}-test`, language);
    await takeBack({ ...tools, judgeIn: judge }, page, `${name}-take-back`, language);
    await papers(tools, await guest.newPage(), name, language);
    await context.close();
    await guest.close();
  }
}
