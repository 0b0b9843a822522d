// The homeowner's link in a real browser: in the language of the reader, on a phone and on a desk,
// with and without scripts, by keyboard alone; what it takes, and how it says what is wrong.

const words = {
  'en-US': {
    code: 'en', tube: 'What the U-tube shows', test: 'The result of a radon test', fan: 'The fan sounds different, or it is off',
    send: 'Send', busy: 'Too much is asked for at once', refused: 'Nothing was noted yet', thanks: 'Thank you. It is noted.', left: 'Left side', right: 'Right side',
    middle: 'in the middle', difference: 'Distance between the two sides', value: 'Result, with unit', from: 'From', place: 'Place',
    device: 'Device', sounds: 'It sounds different', sent: 'What you sent us', other: 'Español', otherCode: 'es', yes: 'yes',
  },
  'es-MX': {
    code: 'es', tube: 'Lo que marca el medidor en U', test: 'El resultado de una prueba de radón', fan: 'El ventilador suena distinto, o está parado',
    send: 'Enviar', busy: 'Hay demasiadas consultas', refused: 'Todavía no se anotó nada', thanks: 'Gracias. Queda anotado.', left: 'Lado izquierdo', right: 'Lado derecho',
    middle: 'en el medio', difference: 'Distancia entre los dos lados', value: 'Resultado, con unidad', from: 'Desde', place: 'Lugar',
    device: 'Aparato', sounds: 'Suena distinto', sent: 'Lo que nos envió', other: 'English', otherCode: 'en', yes: 'sí',
  },
};

const day = (ago) => new Date(Date.now() - ago * 86400_000).toISOString().slice(0, 10);

async function linkOf(tools, page, house) {
  await tools.visit(page, `/systems/${house}`);
  await page.getByText('Link for the homeowner').click();
  await tools.follow(page, page.getByRole('button', { name: 'Make a link' }));
  await page.getByText('Link for the homeowner').click();
  return page.locator('#share a').getAttribute('href');
}

// A busy daemon keeps what was typed and asks to send it again.
async function send(page, text) {
  for (;;) {
    await Promise.all([page.waitForNavigation(), page.getByRole('button', { name: text.send }).click()]);
    const alert = page.locator('[role=alert]');
    if (!(await alert.count()) || !(await alert.innerText()).includes(text.busy)) return;
    await page.waitForTimeout(700);
  }
}

// A refused form keeps what was typed and says beside the field what is wrong; then it is taken.
async function uTube(tools, page, text, name) {
  const { check } = tools;
  await tools.follow(page, page.getByRole('link', { name: text.tube }));
  check((await page.locator('.how svg').count()) === 2, `${name}: drawings of how to read it`);
  await page.getByLabel(text.left).fill('0.6');
  await page.getByLabel(text.difference).fill('much');
  await send(page, text);
  check((await page.locator('[role=alert]').innerText()).includes(text.refused), `${name}: refused`);
  check((await page.getByLabel(text.left).inputValue()) === '0.6' && (await page.getByLabel(text.difference).inputValue()) === 'much',
    `${name}: what was typed stays`);
  check((await page.locator('#wrong-difference, #wrong-right').count()) === 2, `${name}: the reasons stand beside the fields`);
  await tools.judgeIn(page, `${name}-tube-refused`, text.code);
  await page.getByLabel(text.right).fill('0.5');
  await page.getByLabel(text.difference).fill('');
  await page.getByLabel(text.middle, { exact: true }).check();
  await send(page, text);
  check((await page.locator('p.notice[role=status]').first().innerText()) === text.thanks, `${name}: the U-tube is noted`);
  check(/1\.1 inH2O/.test(await page.locator('main').innerText()), `${name}: and shown`);
}

async function radonTest(tools, page, text, name) {
  await tools.follow(page, page.getByRole('link', { name: text.test }));
  await tools.judgeIn(page, `${name}-test`, text.code);
  await page.getByLabel(text.from, { exact: true }).fill(day(9));
  await page.locator('#to').fill(day(3));
  await page.getByLabel(text.value).fill('1.4 pCi/L');
  await page.getByLabel(text.place, { exact: true }).fill('den <b>left</b>');
  await page.getByLabel(text.device, { exact: true }).fill('canister 12');
  await page.getByLabel(text.yes, { exact: true }).check();
  await send(page, text);
  const shown = await page.locator('main').innerText();
  tools.check(shown.includes(text.thanks) && shown.includes('den <b>left</b>, canister 12'), `${name}: the test is noted`);
}

// With the keys alone: to the link, into the form, to a choice, to the button.
async function fanByKeyboard(tools, page, text, name) {
  const goTo = async (wanted) => {
    for (let i = 0; i < 80; i++) {
      await page.keyboard.press('Tab');
      const here = await page.locator(':focus').evaluate((one) => one.textContent || one.value || one.id).catch(() => '');
      if (here.includes(wanted)) return;
    }
    throw new Error(`${name}: no way by keyboard to ${wanted}`);
  };
  await goTo(text.fan);
  await page.keyboard.press('Enter');
  await page.waitForURL(/\/fan/);
  await goTo('sounds-different');
  await page.keyboard.press('Space');
  await page.keyboard.press('Tab');
  await page.keyboard.type('since the storm');
  await page.keyboard.press('Tab');
  await goTo(text.send);
  await page.keyboard.press('Enter');
  await page.waitForURL(/sent=yes/, { timeout: 5000 }).catch(() => send(page, text)); // it was busy
  await page.waitForURL(/sent=yes/);
  const shown = await page.locator('main').innerText();
  tools.check(shown.includes(text.sent) && shown.includes('since the storm'), `${name}: said by keyboard alone`);
}

async function fan(tools, page, text, name) {
  await tools.follow(page, page.getByRole('link', { name: text.fan }));
  await page.getByLabel(text.sounds).check();
  await send(page, text);
  tools.check((await page.locator('main').innerText()).includes(text.thanks), `${name}: the fan is noted`);
}

async function read(tools, link, { width, height, kind, locale, scripts }) {
  const text = words[locale], name = `${kind}-home-${text.code}${scripts ? '' : '-no-scripts'}`;
  const context = await tools.browser.newContext({ viewport: { width, height }, locale, javaScriptEnabled: scripts });
  const page = await tools.open(context, link);
  tools.check((await page.locator('html').getAttribute('lang')) === text.code, `${name}: in the reader's language`);
  tools.check((await page.locator('nav[aria-label=Sheets], .actions, a[href="/"], script').count()) === 0, `${name}: and nothing else`);
  if (scripts) await tools.judgeIn(page, name, text.code);
  await uTube({ ...tools, judgeIn: scripts ? tools.judgeIn : async () => {} }, page, text, name);
  await radonTest({ ...tools, judgeIn: scripts ? tools.judgeIn : async () => {} }, page, text, name);
  await (scripts ? fanByKeyboard : fan)(tools, page, text, name);
  await tools.follow(page, page.getByRole('link', { name: text.other, exact: true }));
  tools.check((await page.locator('html').getAttribute('lang')) === text.otherCode, `${name}: the other language is one link away`);
  await context.close();
}

// tools: browser, check, open, visit, follow, signIn, judgeIn(page, name, language), forgive(pattern)
export async function homeLink(tools) {
  const desk = await tools.browser.newContext({ javaScriptEnabled: false });
  const page = await tools.signIn(desk);
  let house = 10;
  for (const [width, height, kind] of [[1280, 900, 'desktop'], [390, 844, 'phone']])
    for (const locale of Object.keys(words))
      for (const scripts of [true, false]) {
        const id = `row-${house++}`;
        await read(tools, await linkOf(tools, page, id), { width, height, kind, locale, scripts });
        await tools.visit(page, `/systems/${id}`);
        const shown = await page.locator('#household').innerText();
        tools.check(/U-tube 1\.1 inH2O/.test(shown) && /radon test 1\.4 pCi\/L/.test(shown) && /sounds different/.test(shown),
          `${id}: the contractor sees what was sent: ${shown}`);
      }
  await desk.close();
  tools.forgive(/400|503/); // forms that were refused on purpose, or for now
}
