// A new house in a real browser, on a phone and without scripts: enrolled out of topics that nobody
// claims, then commissioned with what its sensors read; what is wrong is said beside its field.
import path from 'node:path';

const first = { suction: '0.62', 'hole-1': '6.1', radon: '1.3' };

async function refusedThenEnrolled(tools, page) {
  const { check, follow, judgeIn } = tools;
  await page.getByLabel('Id', { exact: true }).fill('mill-house-3');
  await page.getByLabel('Name', { exact: true }).fill('9 Fern <b>Way</b>');
  await page.getByLabel('Time zone').fill('Mars/Base');
  await follow(page, page.getByRole('button', { name: 'Enrol this house' }));
  check(/Nothing was changed/.test(await page.locator('[role=alert]').first().innerText()), 'enrol: refused');
  check(/is taken by/.test(await page.locator('#wrong-id').innerText()), 'enrol: the reason beside the id');
  check((await page.locator('.wrong').count()) === 2, 'enrol: and beside the time zone');
  check((await page.getByLabel('Name', { exact: true }).inputValue()) === '9 Fern <b>Way</b>', 'enrol: what was typed stays');
  await judgeIn(page, 'phone-enrol-refused');
  await page.getByLabel('Id', { exact: true }).fill('fern-9');
  await page.getByLabel('Time zone').fill('America/Denver');
  await page.getByLabel('Pipe, inside diameter').fill('3.068 in');
  await page.getByRole('button', { name: 'Enrol this house' }).click();
  await page.waitForURL('**/systems/fern-9/commission', { timeout: 30000 });
}

async function commissioned(tools, page) {
  const { check, follow, judgeIn, publish } = tools;
  for (const [point, value] of Object.entries(first)) publish(`subslab/fern-9/${point}`, value);
  await page.waitForTimeout(2500); // later readings of one sensor that sends no time
  publish('subslab/fern-9/suction', '0.66');
  await page.waitForTimeout(500);
  await page.reload();
  const text = await page.locator('main').innerText();
  check(/mean of the 2 readings of the last 10 min, scatter/.test(text), `commission: the mean of the sensor: ${text.slice(0, 400)}`);
  const suction = page.getByLabel(/^suction, in inH2O/);
  check((await suction.inputValue()) === '0.64 inH2O', 'commission: stands in the field');
  await judgeIn(page, 'phone-commission');
  await suction.fill('much');
  await follow(page, page.getByRole('button', { name: /^Confirm/ }));
  check(/is not a value with a unit/.test(await page.locator('#wrong-value-suction').innerText()), 'commission: refused beside the field');
  check((await suction.inputValue()) === 'much', 'commission: what was typed stays');
  await suction.fill('0.65');
  await page.locator('#suction-1').fill('0.65');
  await page.locator('#flow-1').fill('40');
  await page.locator('#field-1-1').fill('6.1');
  await page.locator('#suction-2').fill('0.3');
  await page.locator('#flow-2').fill('22');
  await page.getByLabel('passed', { exact: true }).check();
  await page.getByRole('button', { name: /^Confirm/ }).click();
  await page.waitForURL('**/systems/fern-9');
  await page.locator('.past summary', { hasText: 'Commissioning' }).click();
  const shown = await page.locator('main').innerText();
  for (const needed of ['9 Fern <b>Way</b>', 'Back-draft test: passed', 'Exponent of the ground: 1.2', '1 of 1 holes at 1 Pa or more'])
    check(shown.includes(needed), `commission: the system shows "${needed}"`);
}

async function onThePhone(tools) {
  const { browser, check, visit, follow, signIn, judgeIn, publish } = tools;
  const context = await browser.newContext({ viewport: { width: 390, height: 844 } });
  const page = await signIn(context);
  for (const [point, value] of Object.entries(first)) publish(`subslab/fern-9/${point}`, value);
  publish('subslab/elsewhere/<i>x', '{"ts": "2026-01-01T00:00:00Z", "rn": {"radon": 48.5}}');
  await page.waitForTimeout(500);
  await visit(page, '/');
  await follow(page, page.getByRole('link', { name: 'enrol a new house' }));
  check((await page.locator('.picks li').count()) === 4, 'enrol: four numbers wait');
  await judgeIn(page, 'phone-enrol-topics');
  for (const point of Object.keys(first)) await page.getByLabel(new RegExp(`fern-9/${point}`)).check();
  await follow(page, page.getByRole('button', { name: 'These are of one house' }));
  check((await page.locator('select[name$=quantity]').evaluateAll((all) => all.map((one) => one.value))).sort().join() === 'field,radon,suction',
    'enrol: quantities are proposed');
  await judgeIn(page, 'phone-enrol-house');
  await refusedThenEnrolled(tools, page);
  await commissioned(tools, page);
  await page.screenshot({ path: path.join(tools.pictures, 'phone-enrolled.png'), fullPage: true });
  await context.close();
}

// Without scripts and by keyboard alone as far as the form; the wait for the settings needs none either.
async function withoutScripts(tools) {
  const { browser, check, visit, signIn, publish } = tools;
  const context = await browser.newContext({ javaScriptEnabled: false });
  const page = await signIn(context);
  publish('subslab/moss-2/suction', '0.5');
  await page.waitForTimeout(500);
  await visit(page, '/enrol?topic=moss-2');
  check((await page.locator('.picks li').count()) === 1, 'enrol: the search');
  await page.locator('.picks input').focus();
  await page.keyboard.press('Space');
  await page.getByRole('button', { name: 'These are of one house' }).focus();
  await page.keyboard.press('Enter');
  await page.waitForURL('**/enrol-house');
  check((await page.getByLabel('Id', { exact: true }).inputValue()) === 'moss-2', 'enrol: the id is proposed');
  await page.getByRole('button', { name: 'Enrol this house' }).focus();
  await page.keyboard.press('Enter');
  await page.waitForURL('**/systems/moss-2/commission', { timeout: 30000 });
  check((await page.locator('h1').innerText()) === 'Commissioning of moss-2', 'enrol: without scripts to the end');
  await context.close();
}

// A house without sensors, in Spanish on a desk: its U-tube is read by a person.
async function byHand(tools) {
  const { browser, check, visit, follow, signIn, judgeIn } = tools;
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, locale: 'es-MX' });
  const page = await signIn(context);
  await visit(page, '/enrol');
  await judgeIn(page, 'desktop-es-enrol', 'es');
  await page.getByLabel('Medidores en U que lee una persona').selectOption('1');
  await follow(page, page.getByRole('button', { name: 'Estos son de una casa' }));
  await judgeIn(page, 'desktop-es-enrol-house', 'es');
  check((await page.locator('fieldset legend', { hasText: 'Medidor en U, leído por una persona' }).count()) === 1, 'enrol by hand: the U-tube');
  await page.getByLabel('Código', { exact: true }).fill('loma-1');
  await page.getByLabel('Nombre', { exact: true }).fill('Loma <i>1</i>');
  await page.getByLabel('Zona horaria').fill('America/Denver');
  await page.getByRole('button', { name: 'Dar de alta esta casa' }).click();
  await page.waitForURL('**/systems/loma-1/commission', { timeout: 30000 });
  await judgeIn(page, 'desktop-es-commission', 'es');
  await page.locator('[name=value-tube]').fill('1.1 inH2O');
  await page.getByLabel('superada', { exact: true }).check();
  await page.getByRole('button', { name: /^Confirmar/ }).click();
  await page.waitForURL('**/systems/loma-1');
  await page.locator('.past summary').first().click();
  check(/retroceso de gases: superada/.test(await page.locator('main').innerText()), 'enrol by hand: commissioned');
  await context.close();
}

export async function enrolment(tools) {
  await onThePhone(tools);
  await withoutScripts(tools);
  await byHand(tools);
}
