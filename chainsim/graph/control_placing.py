"""Control sources become nodes: controllers, the tempo, and what follows the pitch of the horn."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence

from chainsim.block import settings_json
from chainsim.errors import GraphError
from chainsim.graph.nodes import Node, reaches
from chainsim.graph.shelf import PlacedState, Scope
from chainsim.graph.wiring import Signal, Wiring, heard_at
from chainsim.sketch.model import BlockEntry, ControllerEntry, State
from chainsim.stage.controllers import CONTROLLER_TYPES
from chainsim.stage.pitch_track import PitchTrack, PitchTrackSettings
from chainsim.stage.tempo import Tempo, TempoSettings

Heard = Sequence[tuple[Node, float]]


class ControlPlacing:
    """The control sources of one state on its way into the graph.

    In a sketch with several states they are one node each for the whole render; what they listen to may change from
    state to state. Controllers listen on while what they drive is away.
    """

    def __init__(
        self,
        scope: Scope,
        state: State,
        wiring: Wiring,
        placed: PlacedState,
        source: Callable[[Signal], Node | None],
        connect: Callable[[Node, str, Heard], None],
    ) -> None:
        self._scope, self._shelf, self._state = scope, scope.shelf, state
        self._wiring, self._placed, self._source, self._connect = wiring, placed, source, connect
        self._controllers: dict[str, Node] = {}
        self._in_work: list[str] = []

    def place_all(self) -> None:
        """Place the controllers that this state does not use."""
        for controller in self._scope.sketch.controllers.values():
            self.controller(controller)

    def control(self, port: str, entry: BlockEntry | None = None, heard: Heard = ()) -> Node:
        """The source of a control port, be it a controller's or a block's; `heard` is what that one's detector hears.

        Raises
        ------
        GraphError
            If there is none for a port of this name.
        """
        if port == "tempo":
            return self._tempo()
        if port == "pitch" and entry is not None:
            return self._pitch(entry, heard)
        raise GraphError(f'no source for a control port "{port}"; there are tempo and pitch')

    def controller(self, entry: ControllerEntry) -> Node:
        """The node of a declared controller.

        Raises
        ------
        GraphError
            If it listens to what it drives.
        """
        place = f"controllers.{entry.name}"
        if place in self._controllers:
            return self._controllers[place]
        if place in self._in_work:
            path = [*self._in_work[self._in_work.index(place) :], place]
            raise GraphError(f"{place}: loop: {' -> '.join(path)}")
        self._in_work.append(place)
        cls = CONTROLLER_TYPES[entry.type_name]
        source = self._source(heard_at(entry.listens_to, self._wiring)) if entry.listens_to else None
        self._in_work.pop()
        controls = {port: self.control(port) for port in cls.controls_for(entry.settings)}
        heard = None if source is None or self._scope.has_patches else self._shelf.number(source)
        name = place if self._scope.has_patches or cls.is_seeded(entry.settings) else ""
        follows = tuple((port, self._shelf.number(node)) for port, node in controls.items())
        folder = self._scope.sketch.folder if cls.reads_files else None
        meter = self._scope.sketch.header.meter
        key = (cls.type_name, settings_json(entry.settings), heard, follows, folder, meter, name)
        node = self._free_of_loops(key, [] if source is None else [(source, 1.0)])
        if node is None:
            node = Node("control", place, entry.settings, cls, entry.name, controls=controls)
            node.ports = {port: [] for port in cls.audio_inputs}
            self._keep(key, node)
        if source is not None:
            self._connect(node, "in", [(source, 1.0)])
        self._placed.nodes.add(node)
        self._controllers[place] = node
        return node

    def _tempo(self) -> Node:
        first_beat_s = self._scope.sketch.header.first_beat_s
        key = ("tempo", first_beat_s, tuple(map(tuple, self._scope.tempo_changes)))
        node = self._shelf.find(key)
        if node is None:
            settings = TempoSettings(changes=self._scope.tempo_changes, first_beat_s=first_beat_s)
            node = self._shelf.keep(key, Node("control", "tempo", settings, Tempo))
        self._placed.nodes.add(node)
        return node

    def _pitch(self, entry: BlockEntry, heard: Heard) -> Node:
        source = getattr(entry.settings, "source", "track")
        if source not in ("track", "tracked_midi"):
            return self._midi_part(entry, source)
        track = self._track(entry, heard)
        if source == "track":
            return track
        from chainsim.stage.tracked_midi import TrackedMidi, TrackedMidiSettings

        settings = TrackedMidiSettings(latency_ms=getattr(entry.settings, "converter_latency_ms", 0.0))
        key = (TrackedMidi.type_name, settings_json(settings), self._shelf.number(track), self._state.a4_hz)
        node = self._shelf.find(key)
        if node is None:
            node = Node("control", f"notes of {track.name}", settings, TrackedMidi, controls={"pitch": track})
            node.a4_hz = self._state.a4_hz
            self._shelf.keep(key, node)
        self._placed.nodes.add(node)
        return node

    def _track(self, entry: BlockEntry, heard: Heard) -> Node:
        low_hz, high_hz = self._scope.sketch.header.pitch_range_hz
        settings = PitchTrackSettings(low_hz=low_hz, high_hz=high_hz)
        where: Hashable = tuple((self._shelf.number(s), g) for s, g in heard)
        ear = self._scope.ears.get(entry.name, where)
        key = (PitchTrack.type_name, settings_json(settings), ear)
        node = self._free_of_loops(key, heard)
        if node is None:
            node = Node("control", f"pitch heard by {entry.name}", settings, PitchTrack, ports={"in": []})
            self._keep(key, node)
            self._scope.trackers.append(node)
        self._connect(node, "in", heard)
        self._placed.nodes.add(node)
        return node

    def _keep(self, key: Hashable, node: Node) -> None:
        self._scope.copies.setdefault(key, []).append(node)
        self._shelf.keep(key, node)

    def _free_of_loops(self, key: Hashable, heard: Heard) -> Node | None:
        """The node of this key; in a set, one that may hear this without hearing in some state what it leads."""
        if not self._scope.has_patches:
            return self._shelf.find(key)
        copies = self._scope.copies.get(key, [])
        return next((n for n in copies if not any(reaches(source, n) for source, _ in heard)), None)

    def _midi_part(self, entry: BlockEntry, file: str) -> Node:
        from chainsim.stage.midi_part import MidiPart, MidiPartSettings

        settings = MidiPartSettings(file=file, channel=getattr(entry.settings, "midi_channel", 0))
        key = (MidiPart.type_name, settings_json(settings), self._scope.sketch.folder, self._state.a4_hz)
        node = self._shelf.find(key)
        if node is None:
            node = self._shelf.keep(
                key, Node("control", f"blocks.{entry.name}.source", settings, MidiPart, a4_hz=self._state.a4_hz)
            )
        self._placed.nodes.add(node)
        return node
