"""What moves during a render: tempo, controllers, patches and cues."""
