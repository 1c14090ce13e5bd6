// The table that is typed into at the bench. It shows what the form in the kernel says, sends every committed cell with
// a number, and says "recorded" only when the answer with that number has come. It reads no numbers itself.

const ANSWER_WITHIN_MS = 8000
const LOST = [
  'NOT RECORDED: the kernel does not answer',
  'NOT RECORDED: the kernel does not answer. It may be busy or stopped. What was typed is kept on this page only; when ' +
    'the kernel runs again, run this cell of the notebook again and look at what is recorded.',
]
const GONE = [
  'NOT RECORDED: not connected, run the cell again',
  'The kernel was stopped or started again: this table is no longer connected, and nothing typed here is recorded. Run ' +
    'this cell of the notebook again; it is built anew from the lab book.',
]
let tables = 0

function make(tag, name = '', text = '') {
  const element = document.createElement(tag)
  if (name) element.className = name
  if (text) element.textContent = text
  return element
}

function line(tag, buttons) {
  const element = make(tag, 'buttons')
  element.append(...buttons)
  return element
}

function setText(element, text) {
  if (element.textContent !== text) element.textContent = text
  element.hidden = text === ''
}

// One input with its small line. `base` is the text the form holds; `number` that of the message that waits.
class Field {
  constructor(table, row, column, td) {
    Object.assign(this, { table, row, column, td, base: '', number: 0, timer: 0, lost: null })
    this.input = make('input')
    this.small = make('span', 'small')
    this.small.id = `${table.id}-${table.fields.size}-small`
    Object.assign(this.input, { type: 'text', autocomplete: 'off', spellcheck: false })
    this.input.setAttribute('autocapitalize', 'off')
    this.input.setAttribute('aria-describedby', `${this.small.id} ${table.belowId(row)}`)
    for (const name of ['keydown', 'change', 'paste']) this.input.addEventListener(name, (event) => this[name](event))
    td.append(this.input, this.small)
  }

  get typed() {
    return this.input.value.trim()
  }

  show(cell) {
    this.cell = cell
    this.input.inputMode = cell.decimal ? 'decimal' : 'text'
    this.input.setAttribute('aria-label', cell.label)
    const untouched = this.input.value === this.base
    this.base = cell.text
    if (this.number || this.lost) return // what is typed is on its way, or lost it: an answer decides
    if (untouched || this.answered) this.input.value = cell.text
    this.answered = false
    this.mark(cell.state, cell.small)
  }

  carry(old) {
    clearTimeout(old.timer)
    if (!old.number && !old.lost && old.input.value === old.base) return
    Object.assign(this, { number: old.number, sent: old.sent, lost: old.lost })
    this.input.value = old.input.value
    if (this.lost) this.mark('lost', this.lost[0])
    if (this.number) this.wait()
  }

  wait() {
    this.mark('waiting', 'not recorded yet ...')
    this.timer = setTimeout(() => this.lose(LOST), ANSWER_WITHIN_MS)
  }

  mark(state, words) {
    this.td.dataset.state = state
    this.input.setAttribute('aria-invalid', String(state === 'refused' || state === 'asks' || state === 'lost'))
    setText(this.small, words)
  }

  keydown(event) {
    if (event.isComposing) return
    if (event.key === 'Enter') {
      event.preventDefault()
      this.change()
      this.table.step(this, event.shiftKey ? -1 : 1)
    } else if (event.key === 'Escape') {
      this.input.value = this.base
    }
  }

  change() {
    if (!this.td.isConnected) return // a table drawn anew took its place
    const known = this.number ? this.sent : this.base // Enter is followed by a change
    if (this.typed !== known || this.lost) this.send(this.typed)
  }

  send(text, choice = '', why = '', column = this.column) {
    clearTimeout(this.timer)
    this.lost = null
    this.number = this.table.send({ row: this.row, column, text, choice, why }, this)
    if (this.table.gone) this.lose(GONE)
    else this.wait()
  }

  lose(words) {
    clearTimeout(this.timer)
    this.lost = words
    this.mark('lost', words[0])
    this.table.say(words[1], 'lost')
  }

  answer(number) {
    if (number !== this.number) return // a later text of this cell is on its way
    clearTimeout(this.timer)
    this.answered = this.input.value.trim() === this.sent
    Object.assign(this, { number: 0, lost: null })
    this.show(this.cell)
  }

  paste(event) {
    const lines = event.clipboardData.getData('text').replace(/\r/g, '').replace(/\n+$/, '').split('\n')
    if (lines.length < 2) return
    event.preventDefault()
    let [field, left] = [this, lines.length]
    for (const line of lines) {
      if (!field) break
      const text = line.split('\t')[0].trim()
      if (text) {
        field.input.value = text
        field.change()
      }
      left -= 1
      field = this.table.neighbour(field, 1)
    }
    if (left) this.table.say(`${left} pasted lines found no row and were left out`, 'refused')
  }
}

// What stands under a row: remarks, buttons, and the question that is open.
class Below {
  constructor(table, row, td) {
    Object.assign(this, { table, row, td, shown: '' })
  }

  show(row) {
    this.td.parentElement.hidden = !(row.remarks.length || row.actions.length || row.ask)
    const shown = JSON.stringify([row.remarks, row.actions, row.ask, row.asked])
    if (shown === this.shown) return
    const inside = this.td.contains(document.activeElement)
    this.shown = shown
    this.td.replaceChildren()
    for (const remark of row.remarks) {
      this.td.append(make('p', 'remark', remark.words))
      this.td.lastChild.dataset.tone = remark.tone
    }
    const press = (column) => () => this.fieldOf(column).send('', '', '', column)
    const actions = row.actions.map((action) => this.button(action.words, press(action.column)))
    if (row.ask) this.td.append(this.question(row))
    else if (actions.length) this.td.append(line('p', actions))
    if (inside) this.table.last(this.row)?.input.focus()
  }

  button(words, press) {
    const button = Object.assign(make('button', '', words), { type: 'button' })
    button.dataset.lmSuppressShortcuts = 'true' // JupyterLab takes Enter on a button for itself
    button.addEventListener('click', press)
    return button
  }

  question(row) {
    const [[column, text], box] = [row.asked, make('div', 'ask')]
    box.setAttribute('role', 'group')
    box.setAttribute('aria-label', row.ask.question)
    box.append(make('p', 'remark', row.ask.question))
    const why = Object.assign(make('input'), { type: 'text', autocomplete: 'off' })
    if (row.ask.choices.some((choice) => choice.why)) {
      const label = make('label', 'why', 'reason')
      label.append(why)
      box.append(label, line('div', row.ask.reasons.map((reason) => this.button(reason, () => (why.value = reason)))))
    }
    const choices = row.ask.choices.map((choice) => {
      const button = this.button(choice.words, () => this.choose(choice, column, text, why))
      if (choice.key !== 'cancel') button.className = 'main'
      return button
    })
    box.append(line('div', choices))
    return box
  }

  choose(choice, column, text, why) {
    if (choice.why && !why.value.trim()) {
      why.setAttribute('aria-invalid', 'true')
      why.focus()
      return this.table.say('NOT RECORDED: a reason is needed', 'refused')
    }
    this.fieldOf(column).send(text, choice.key, why.value.trim(), column)
  }

  fieldOf(column) {
    return this.table.find(this.row, column) || this.table.last(this.row)
  }
}

class EntryTable {
  constructor(model, root) {
    Object.assign(this, { model, root, gone: false, sent: 0, id: `kit-entry-${(tables += 1)}` })
    this.client = `${Date.now().toString(36)}-${Math.random().toString(36).slice(2)}`
    this.waiting = new Map()
    this.build(model.get('view'))
  }

  // Drawing: built once for a set of rows and columns, then only what differs is set, so that typing goes on undisturbed.

  build(view) {
    const before = [...(this.fields || new Map()).values()]
    const focus = before.find((field) => field.input === document.activeElement)
    this.shape = shapeOf(view)
    this.fields = new Map()
    this.texts = []
    this.root.replaceChildren(make('p', 'title', view.title))
    for (const part of view.parts) this.root.append(this.part(part))
    this.said = Object.assign(make('p', 'said'), { role: 'status' })
    this.root.append(this.said, ...this.cautions(view.cautions))
    this.update(view)
    for (const old of before) this.find(old.row, old.column)?.carry(old)
    if (focus) this.find(focus.row, focus.column)?.input.focus()
  }

  part(part) {
    const wrap = make('div', 'part')
    const [table, caption, head, thead, body] = ['table', 'caption', 'tr', 'thead', 'tbody'].map((tag) => make(tag))
    const current = (view) => view.parts.find((one) => one.key === part.key)
    this.texts.push((view) => setText(caption, current(view).caption))
    for (const column of part.columns) {
      head.append(Object.assign(make('th', column.numeric ? 'number' : '', column.head), { scope: 'col' }))
    }
    thead.append(head)
    let group = ''
    part.rows.forEach((row, at) => {
      if (row.group && row.group !== group) body.append(groupRow(row.group, part.columns.length))
      group = row.group
      body.append(...this.row(part, row, at))
    })
    table.className = part.columns.map((column) => column.key).includes('weighed') ? 'lines' : ''
    table.append(caption, thead, body)
    wrap.append(table, make('p', 'note'))
    this.texts.push((view) => setText(wrap.lastChild, current(view).note))
    return wrap
  }

  row(part, row, at) {
    const tr = make('tr')
    const current = (view) => view.parts.find((one) => one.key === part.key).rows[at]
    row.cells.forEach((cell, place) => {
      const column = part.columns[place]
      const td = make(cell.kind === 'head' ? 'th' : 'td', column.numeric ? 'number' : '')
      if (cell.kind === 'head') td.scope = 'row'
      td.dataset.column = column.key
      tr.append(td)
      if (cell.kind === 'input') {
        const field = new Field(this, row.key, column.key, td)
        this.fields.set(keyOf(row.key, column.key), field)
        this.texts.push((view) => field.show(current(view).cells[place]))
      } else {
        const [words, small] = ['words', 'small'].map((name) => make('span', name))
        td.append(words, small)
        this.texts.push((view) => {
          const now = current(view).cells[place]
          setText(words, now.text)
          setText(small, now.small)
          td.dataset.tone = now.tone
        })
      }
    })
    const under = make('tr', 'below')
    const td = Object.assign(make('td'), { colSpan: part.columns.length, id: this.belowId(row.key) })
    under.append(td)
    const below = new Below(this, row.key, td)
    this.texts.push((view) => below.show(current(view)))
    return [tr, under]
  }

  cautions(cautions) {
    if (!cautions.length) return []
    const list = make('ul', 'cautions')
    for (const [title, text] of cautions) {
      const item = make('li')
      item.append(make('strong', '', `${title}. `), text)
      list.append(item)
    }
    return [make('p', 'cautions-title', 'Cautions'), list]
  }

  update(view) {
    if (shapeOf(view) !== this.shape) return this.build(view)
    this.root.querySelector('.title').textContent = view.title
    for (const set of this.texts) set(view)
  }

  belowId(row) {
    return `${this.id}-${row.replace(/\W/g, '-')}-below`
  }

  // Moving

  find(row, column) {
    return this.fields.get(keyOf(row, column))
  }

  last(row) {
    return [...this.fields.values()].filter((field) => field.row === row).pop()
  }

  neighbour(field, step) {
    const inColumn = [...this.fields.values()].filter((one) => one.column === field.column)
    return inColumn[inColumn.indexOf(field) + step]
  }

  step(field, step) {
    const next = this.neighbour(field, step)?.input
    next?.focus()
    next?.select()
  }

  // Sending and answers

  send(message, field) {
    const number = (this.sent += 1)
    field.sent = message.text
    this.waiting.set(number, [field.row, field.column])
    try {
      this.model.send({ kind: 'commit', client: this.client, number, ...message })
    } catch {
      this.disconnect()
    }
    return number
  }

  answered(message) {
    if (message.kind !== 'answer' || message.client !== this.client) return
    const place = this.waiting.get(message.number)
    if (!place) return
    this.find(...place)?.answer(message.number)
    this.say(message.words, message.code === 'flagged' ? 'flagged' : message.state)
  }

  say(words, state) {
    setText(this.said, words)
    this.said.dataset.state = state
  }

  disconnect() {
    if (this.gone) return
    this.gone = true
    const notice = make('p', 'said', GONE[1])
    notice.dataset.state = 'lost'
    this.root.prepend(notice)
    for (const field of this.fields.values()) if (field.number) field.lose(GONE)
    this.say(GONE[1], 'lost')
  }
}

function keyOf(row, column) {
  return `${row}\n${column}`
}

function shapeOf(view) {
  return JSON.stringify(
    view.parts.map((part) => [part.key, part.columns, part.rows.map((row) => [row.key, row.cells.map((cell) => cell.kind)])])
  )
}

function groupRow(words, columns) {
  const tr = make('tr', 'group')
  tr.append(Object.assign(make('th', '', words), { scope: 'rowgroup', colSpan: columns }))
  return tr
}

function render({ model, el }) {
  const root = make('div', 'kit-entry')
  el.append(root)
  const table = new EntryTable(model, root)
  const changed = () => table.update(model.get('view'))
  const answered = (message) => table.answered(message)
  model.on('change:view', changed)
  model.on('msg:custom', answered)
  return () => {
    model.off('change:view', changed)
    model.off('msg:custom', answered)
    for (const field of table.fields.values()) clearTimeout(field.timer)
  }
}

export default { render }
