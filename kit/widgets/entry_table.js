// The table that is typed into at the bench. It shows what the form in the kernel says, sends every committed cell with
// a number, and says "recorded" only when the answer with that number has come. After entry_cells.js, in one module.

let tables = 0

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
      td.dataset.head = column.head
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
    const next = this.neighbour(field, step)?.input || this.along(field, step)
    next?.focus()
    next?.select?.()
  }

  // In a table of one row Enter goes along it, and from its last cell to the button under it.
  along(field, step) {
    const every = [...this.fields.values()]
    if (every.filter((one) => one.column === field.column).length > 1) return undefined
    const inRow = every.filter((one) => one.row === field.row)
    const next = inRow[inRow.indexOf(field) + step]
    return next?.input || (step > 0 && this.root.querySelector(`#${this.belowId(field.row)} button`)) || undefined
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
  const gone = () => table.disconnect() // told when the kernel is started again
  model.on('change:view', changed)
  model.on('msg:custom', answered)
  model.on('comm_live_update', gone)
  return () => {
    model.off('change:view', changed)
    model.off('msg:custom', answered)
    model.off('comm_live_update', gone)
    for (const field of table.fields.values()) clearTimeout(field.timer)
  }
}

export default { render }
